"""How to step a rail: from the depth of field that the lens has, and from what a series already shot shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil
from typing import NamedTuple

import numpy as np

from lensbench.findings import Focus, FocusZone, Notice, RailAdvice, Setting
from lensbench.optics import GREEN_NM, quarter_wave_field
from lensbench.shot import reference_channel

HARD_TO_FOCUS = 0.3
"""From here on nobody focuses a home-made lens well enough for one shot (common practice)."""

EASY_TO_FOCUS_MM = 0.3
"""A depth of field that reaches farther to either side forgives a careful hand."""

REACH = 2.0
"""How far to either side of best focus a series should go, in depths of field to one side."""

STEPS_A_DEPTH = 2
"""Steps in a depth of field to one side: a quarter of the whole."""

WIDEST_STEP = 1.25
"""A wider step, in depths to one side, leaves the curve's peak to guesswork."""

FEWEST = 5
"""Fewer shots than this about the peak don't hold the curve."""


class RailShot(NamedTuple):
    """One target shot: its file, the rail's reading (None without), and how sharp it is as a whole."""

    shot: str
    rail_mm: float | None
    mtf50: float


def advise_rail(setting: Setting, pupil_ratio: float = 1.0) -> RailAdvice | None:
    """Say how to step the rail at a setting.

    Parameters
    ----------
    setting : Setting
        With its magnification and f-number, or its focus series; either is enough.
    pupil_ratio : float
        Exit over entrance pupil.

    Returns
    -------
    RailAdvice or None
        None where neither the aperture nor a series tells the depth of field.
    """
    focus = setting.focus
    depth = focus.depth_mm.value if focus else _quarter_wave_mm(setting, pupil_ratio)
    if depth is None:
        return None
    step = _rounded(depth / STEPS_A_DEPTH)
    if focus is None:
        return RailAdvice(depth, step, 2 * int(REACH) * STEPS_A_DEPTH + 1)
    first, last = _wanted(focus, depth)
    return RailAdvice(depth, step, ceil((last - first) / step - 1e-6) + 1, round(first, 4), round(last, 4))


def rail_notices(setting: Setting, shots: Sequence[RailShot]) -> list[Notice]:
    """What is wrong with a series, with numbers and what to do.

    Parameters
    ----------
    setting : Setting
        With its focus and its advice.
    shots : sequence of RailShot
        Its target shots; without two different readings of the rail they are no series.
    """
    readings = sorted({shot.rail_mm for shot in shots if shot.rail_mm is not None})
    if len(readings) < 2:
        return []
    if setting.focus is None:
        return [_not_shown(setting, [shot for shot in shots if shot.rail_mm is not None])]
    notes = [Notice("rail-note", None, f"{setting.name}: {note}") for note in setting.focus.notes]
    return [_speaker(setting), *notes, *_too_wide(setting), *_out_of_reach(setting)]


def single_shot_notices(settings: Sequence[Setting]) -> list[Notice]:
    """A warning where single shots close up are as good as their focusing: of the shallowest setting."""
    close = [
        setting
        for setting in settings
        if setting.focus is None
        and setting.sharpness
        and setting.rail_advice
        and setting.magnification
        and setting.magnification.value >= HARD_TO_FOCUS
        and setting.rail_advice.depth_mm < EASY_TO_FOCUS_MM
    ]
    if not close:
        return []
    setting = min(close, key=lambda s: s.rail_advice.depth_mm)
    advice = setting.rail_advice
    text = (
        f"{setting.name}: at {setting.magnification.value:.2g} × life size the depth of field is "
        f"± {_mm(advice.depth_mm)} mm, finer than the eye can focus, so a focusing error may be in these "
        f"figures. Take {advice.shots} shots along the rail in steps of {_mm(advice.step_mm)} mm across best "
        "focus, and give each its rail_mm in session.toml."
    )
    return [Notice("focus-unsure", None, text)]


# -- depth and reach ------------------------------------------------------------------------------------------


def _quarter_wave_mm(setting: Setting, pupil_ratio: float) -> float | None:
    """Depth of field to one side by the quarter-wave rule, before the lens."""
    if setting.f_number is None or setting.magnification is None or setting.magnification.value <= 0:
        return None
    return float(quarter_wave_field(setting.f_number, setting.magnification.value, GREEN_NM * 1e-6, pupil_ratio))


def _wanted(focus: Focus, depth: float) -> tuple[float, float]:
    """Readings of the rail between which all zones come into focus and go out again."""
    best = [zone.best_mm.value for zone in _zones(focus) if zone.best_mm]
    first, last = min(best, default=0.0) - REACH * depth, max(best, default=0.0) + REACH * depth
    sign = 1 if focus.larger_is == "farther" else -1
    low, high = sorted(focus.centre_rail_mm.value + sign * end for end in (first, last))
    if not _zones_beyond(focus):
        return low, high
    # How far beyond the series the others lie, it can't say: half as far again as it went.
    beyond = {tile.beyond for tile in focus.tiles if tile.channel == _reference(focus)}
    least, most = min(focus.rail_mm), max(focus.rail_mm)
    more = (most - least) / 2
    above, below = ("farther", "nearer") if sign > 0 else ("nearer", "farther")
    return (
        min(low, least - more) if below in beyond else low,
        max(high, most + more) if above in beyond else high,
    )


def _reference(focus: Focus) -> str:
    """The channel that speaks for sharpness."""
    return reference_channel([zone.channel for zone in focus.zones])


def _zones(focus: Focus) -> list[FocusZone]:
    """The zones' rows, both directions, in the channel that speaks for sharpness."""
    reference = _reference(focus)
    return [zone for zone in focus.zones if zone.channel == reference and zone.direction != "mean"]


def _zones_beyond(focus: Focus) -> list[str]:
    """Zones whose peak the series doesn't show in at least one direction."""
    return list(dict.fromkeys(zone.zone for zone in _zones(focus) if zone.best_mm is None))


# -- sentences ------------------------------------------------------------------------------------------------


def _speaker(setting: Setting) -> Notice:
    focus = setting.focus
    text = (
        f"{setting.name}: of {len(focus.shots)} shots along the rail, {focus.shot} is nearest to the "
        f"centre's best focus ({_mm(abs(focus.shot_off_mm))} mm off, "
        f"{max(focus.shot_loss_percent, 0):.1f} % softer than at best). Zone map, sharpness and fringing are "
        "from that shot; the section on focus has the figures at best focus."
    )
    return Notice("rail", focus.shot, text)


def _too_wide(setting: Setting) -> Iterator[Notice]:
    focus, advice = setting.focus, setting.rail_advice
    depth = focus.depth_mm.value
    off = np.array(sorted(focus.rail_mm)) - focus.centre_rail_mm.value
    about = off[np.abs(off) <= REACH * depth]
    before, after = off[off < 0].max(initial=-np.inf), off[off >= 0].min(initial=np.inf)
    widest = max(np.diff(about).max(initial=0.0), after - before)
    if widest > WIDEST_STEP * depth or len(about) < FEWEST:
        text = (
            f"{setting.name}: only {len(about)} shots of the series lie within ± {_mm(REACH * depth)} mm of "
            f"the centre's best focus, up to {_mm(widest)} mm apart, and the depth of field is ± {_mm(depth)} mm: "
            f"the peaks are more uncertain than need be. Step the rail by {_mm(advice.step_mm)} mm."
        )
        yield Notice("rail-step", focus.shot, text)


def _out_of_reach(setting: Setting) -> Iterator[Notice]:
    focus, advice = setting.focus, setting.rail_advice
    zones = _zones_beyond(focus)
    if not zones:
        return
    low, high = min(focus.rail_mm), max(focus.rail_mm)
    ends = []
    if advice.from_mm < low:
        ends.append(f"{_mm(advice.from_mm)} to {_mm(low)} mm")
    if advice.to_mm > high:
        ends.append(f"{_mm(high)} to {_mm(advice.to_mm)} mm")
    how = f" Add shots from {' and from '.join(ends)} in steps of {_mm(advice.step_mm)} mm." if ends else ""
    names = ", ".join(zone.replace("-", " ") for zone in zones[:4]) + (" and others" if len(zones) > 4 else "")
    text = (
        f"{setting.name}: the series ({_mm(low)} to {_mm(high)} mm) does not show where these zones are "
        f"sharpest: {names}. They have no best focus of their own here.{how}"
    )
    yield Notice("rail-range", focus.shot, text)


def _not_shown(setting: Setting, shots: Sequence[RailShot]) -> Notice:
    """The centre's peak isn't within the series, or there are too few shots to tell."""
    shots = sorted(shots, key=lambda shot: shot.rail_mm)
    best = max(shots, key=lambda shot: shot.mtf50)
    head = (
        f"{setting.name}: {best.shot} is the sharpest of {len(shots)} shots along the rail; sharpness and "
        "fringing are from that shot. "
    )
    step = f" in steps of {_mm(setting.rail_advice.step_mm)} mm" if setting.rail_advice else ""
    place = f"{_mm(best.rail_mm)} mm{step}."
    if best is shots[0] or best is shots[-1]:
        side = "below" if best is shots[0] else "above"
        how = f"It is the last one on its side, so best focus may lie beyond it. Go on {side} {place}"
    else:
        how = "They are too few, or too far apart, to show where best focus lies. "
        how += f"Shoot {FEWEST} or more about {place}"
    return Notice("rail", best.shot, head + how)


def _rounded(value: float) -> float:
    return float(f"{value:.2g}")


def _mm(value: float) -> str:
    """Millimetres with two digits that count, and never finer than a micrometre."""
    if abs(value) >= 100:
        return f"{value:.0f}"
    text = f"{value:.2g}" if abs(value) < 10 else f"{value:.1f}"
    return f"{float(text):g}" if abs(value) >= 0.001 else "0"
