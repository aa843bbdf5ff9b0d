"""What is wrong with a series along a rail, or with single shots close up, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from lensbench.findings import Focus, Notice, RailAdvice, Setting
from lensbench.verdicts.focus._rail_advice import REACH, zones_beyond

HARD_TO_FOCUS = 0.3
"""Magnification from which on nobody focuses a home-made lens well enough for one shot (common practice)."""

EASY_TO_FOCUS_MM = 0.3
"""A depth of field that reaches farther to either side forgives a careful hand (chosen by experience)."""

WIDEST_STEP = 1.25
"""A wider step, in depths to one side, leaves the curve's peak to guesswork (`tests/bench/focus.py`)."""

FEWEST = 5
"""Fewer shots than this about the peak don't determine the curve."""


class RailShot(NamedTuple):
    """One target shot: its file, the rail's reading (None without), and how sharp it is as a whole."""

    shot: str
    rail_mm: float | None
    mtf50: float


def rail_notices(setting: Setting, shots: Sequence[RailShot]) -> list[Notice]:
    """What is wrong with a series, with numbers and what to do.

    Parameters
    ----------
    setting : Setting
        With its focus and its advice.
    shots : sequence of RailShot
        Its target shots; without two different readings of the rail they are no series.

    Returns
    -------
    list of Notice
    """
    series = [(shot.rail_mm, shot) for shot in shots if shot.rail_mm is not None]
    if len({reading for reading, _ in series}) < 2:
        return []
    name, focus, advice = setting.name, setting.focus, setting.rail_advice
    if focus is None:
        return [_not_shown(name, advice, series)]
    notices = [_reference_shot(name, focus)]
    notices += [Notice("rail-note", None, f"{name}: {note}") for note in focus.notes]
    if advice is not None:
        notices += [*_too_wide(name, focus, advice), *_out_of_reach(name, focus, advice)]
    return notices


def single_shot_notices(settings: Sequence[Setting]) -> list[Notice]:
    """A warning where single shots close up are as good as their focusing: of the shallowest setting."""
    close = [
        (setting.rail_advice.depth_mm, setting.name, setting.magnification.value, setting.rail_advice)
        for setting in settings
        if setting.focus is None and setting.sharpness and setting.rail_advice and setting.magnification
    ]
    hard = [one for one in close if one[2] >= HARD_TO_FOCUS and one[0] < EASY_TO_FOCUS_MM]
    if not hard:
        return []
    depth_mm, name, magnification, advice = min(hard, key=lambda one: one[0])
    text = (
        f"{name}: at {magnification:.2g} × life size the depth of field is "
        f"± {_mm(depth_mm)} mm, finer than the eye can focus, so a focusing error may be in these "
        f"figures. Take {advice.shots} shots along the rail in steps of {_mm(advice.step_mm)} mm across best "
        "focus, and give each its rail_mm in session.toml."
    )
    return [Notice("focus-unsure", None, text)]


def _reference_shot(name: str, focus: Focus) -> Notice:
    text = (
        f"{name}: of {len(focus.shots)} shots along the rail, {focus.shot} is nearest to the "
        f"centre's best focus ({_mm(abs(focus.shot_off_mm))} mm off, "
        f"{max(focus.shot_loss_percent, 0):.1f} % softer than at best). Zone map, sharpness and fringing are "
        "from that shot; the section on focus has the figures at best focus."
    )
    return Notice("rail-shot", focus.shot, text)


def _too_wide(name: str, focus: Focus, advice: RailAdvice) -> Iterator[Notice]:
    depth = focus.depth_mm.value
    off = np.array(sorted(focus.rail_mm)) - focus.centre_rail_mm.value
    about = off[np.abs(off) <= REACH * depth]
    before, after = off[off < 0].max(initial=-np.inf), off[off >= 0].min(initial=np.inf)
    widest = max(np.diff(about).max(initial=0.0), after - before)
    if widest > WIDEST_STEP * depth or len(about) < FEWEST:
        text = (
            f"{name}: only {len(about)} shots of the series lie within ± {_mm(REACH * depth)} mm of "
            f"the centre's best focus, up to {_mm(widest)} mm apart, and the depth of field is ± {_mm(depth)} mm: "
            f"the peaks are more uncertain than need be. Step the rail by {_mm(advice.step_mm)} mm."
        )
        yield Notice("rail-step", focus.shot, text)


def _out_of_reach(name: str, focus: Focus, advice: RailAdvice) -> Iterator[Notice]:
    zones = zones_beyond(focus)
    if not zones:
        return
    low, high = min(focus.rail_mm), max(focus.rail_mm)
    ends = []
    if advice.from_mm is not None and advice.from_mm < low:
        ends.append(f"{_mm(advice.from_mm)} to {_mm(low)} mm")
    if advice.to_mm is not None and advice.to_mm > high:
        ends.append(f"{_mm(high)} to {_mm(advice.to_mm)} mm")
    how = f" Add shots from {' and from '.join(ends)} in steps of {_mm(advice.step_mm)} mm." if ends else ""
    names = ", ".join(zone.replace("-", " ") for zone in zones[:4]) + (" and others" if len(zones) > 4 else "")
    text = (
        f"{name}: the series ({_mm(low)} to {_mm(high)} mm) does not show where these zones are "
        f"sharpest: {names}. They have no best focus of their own here.{how}"
    )
    yield Notice("rail-range", focus.shot, text)


def _not_shown(name: str, advice: RailAdvice | None, series: Sequence[tuple[float, RailShot]]) -> Notice:
    """The centre's peak isn't within the series, or there are too few shots to determine it."""
    ordered = sorted(series, key=lambda pair: pair[0])
    reading, best = max(ordered, key=lambda pair: pair[1].mtf50)
    head = (
        f"{name}: {best.shot} is the sharpest of {len(ordered)} shots along the rail; sharpness and "
        "fringing are from that shot. "
    )
    step = f" in steps of {_mm(advice.step_mm)} mm" if advice else ""
    place = f"{_mm(reading)} mm{step}."
    if best in (ordered[0][1], ordered[-1][1]):
        side = "below" if best is ordered[0][1] else "above"
        how = f"It is the last one on its side, so best focus may lie beyond it. Go on {side} {place}"
    else:
        how = "They are too few, or too far apart, to show where best focus lies. "
        how += f"Shoot {FEWEST} or more about {place}"
    return Notice("rail", best.shot, head + how)


def _mm(value: float) -> str:
    """Millimetres with two digits that count, and never finer than a micrometre."""
    if abs(value) >= 100:
        return f"{value:.0f}"
    text = f"{value:.2g}" if abs(value) < 10 else f"{value:.1f}"
    return f"{float(text):g}" if abs(value) >= 0.001 else "0"
