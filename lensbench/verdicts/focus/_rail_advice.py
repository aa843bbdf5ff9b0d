"""How to step a rail: from the depth of field that the lens has, and from what a series already shot shows."""

from __future__ import annotations

from math import ceil

from lensbench.findings import Focus, FocusZone, RailAdvice, Setting
from lensbench.optics import GREEN_NM, quarter_wave_field
from lensbench.shot import reference_channel

REACH = 2.0
"""How far to either side of best focus a series should go, in depths of field to one side (study:
`tests/bench/focus.py`)."""

STEPS_A_DEPTH = 2
"""Steps in a depth of field to one side: a quarter of the whole (`tests/bench/focus.py`)."""


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
    if not zones_beyond(focus):
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


def zones_beyond(focus: Focus) -> list[str]:
    """Zones whose peak the series doesn't show in at least one direction."""
    return list(dict.fromkeys(zone.zone for zone in _zones(focus) if zone.best_mm is None))


def _rounded(value: float) -> float:
    return float(f"{value:.2g}")
