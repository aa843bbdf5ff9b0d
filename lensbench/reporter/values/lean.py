"""How sensor, lens and sheet leaned, as seen from above and from the side, and how steep that is drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.findings import AssemblyFault, Figure, Report
from lensbench.reporter.values.figures import if_beyond_chance, nice_floor

_LARGEST_DEG = 14.0
"""The larger lean is drawn about so steep."""

_MOST_TIMES = 100.0


@dataclass(frozen=True)
class Lean:
    """How things leaned, seen from one side.

    `ends` are the ends of the sheet, the upper one in the drawing first. `sheet_deg` is how far the lower one is
    turned away from the camera, `sheet_percent` how much larger the upper one is drawn for it; `sensor_deg` the
    lean of sensor and lens to each other, `whose` it is and whether its `way` is known. What is not known, or
    nothing beyond chance, is None. `softer` is the end of the picture that is softer, `cause` whose that is.
    """

    view: str
    ends: tuple[str, str]
    sheet_deg: Figure | None
    sheet_percent: Figure | None
    sensor_deg: Figure | None
    softer: str | None
    cause: str
    whose: str = ""
    way: bool = True


def leans_of(report: Report) -> list[Lean]:
    """Both views, from above and from the side; none where the report doesn't say how the sheet stood."""
    alignment = report.geometry.alignment if report.geometry else None
    if alignment is None:
        return []
    assembly = report.verdict.assembly if report.verdict else None
    softer = assembly.softer_side if assembly else None
    words = softer.side.split() if softer else []
    fault = (
        next((f for f in assembly.faults if f.what == "lean" and f.whose != "target"), None) if assembly else None
    )
    sensor = _sensor_lean(report)
    if sensor == (None, None) and fault is not None:
        sensor = _by_side(fault)
    views = (
        ("from above", ("left", "right"), alignment.right_away_deg, alignment.wider_left_percent, sensor[0]),
        ("from the side", ("top", "bottom"), alignment.bottom_away_deg, alignment.wider_top_percent, sensor[1]),
    )
    return [
        Lean(
            view,
            ends,
            if_beyond_chance(degrees),
            if_beyond_chance(percent),
            if_beyond_chance(own),
            next((word for word in words if word in ends), None),
            softer.cause if softer else "",
            fault.whose if fault else "",
            fault is None or " to " not in fault.side,
        )
        for view, ends, degrees, percent, own in views
    ]


def times_drawn(leans: list[Lean]) -> float | None:
    """How many times as steep as they are leans are drawn; None where the angles aren't known."""
    degrees = [abs(f.value) for lean in leans for f in (lean.sheet_deg, lean.sensor_deg) if f]
    return min(max(nice_floor(_LARGEST_DEG / max(degrees)), 1.0), _MOST_TIMES) if degrees else None


def drawn_deg(lean: Lean, leans: list[Lean]) -> float:
    """The sheet's lean as drawn, in degrees: a round number of times, or in proportion to the larger of both."""
    times = times_drawn(leans)
    if lean.sheet_deg and times:
        return float(np.clip(lean.sheet_deg.value * times, -2 * _LARGEST_DEG, 2 * _LARGEST_DEG))
    if lean.sheet_deg is None and lean.sheet_percent:
        largest = max(abs(one.sheet_percent.value) for one in leans if one.sheet_percent)
        return _LARGEST_DEG * lean.sheet_percent.value / largest
    return 0.0


def _by_side(fault: AssemblyFault) -> tuple[Figure | None, Figure | None]:
    """A lean's parts to the right and downwards, by the side that it is told with (two sides: halfway, 45°)."""
    if fault.angle_deg is None:
        return None, None
    side = fault.side.split(" to ")[-1].split()
    share = 1 / np.sqrt(len(side))
    signs = {"right": (0, 1), "left": (0, -1), "bottom": (1, 1), "top": (1, -1)}
    parts: list[Figure | None] = [None, None]
    for word in side:
        axis, sign = signs[word]
        parts[axis] = Figure.of(sign * share * fault.angle_deg.value, share * fault.angle_deg.half_width, "°")
    return parts[0], parts[1]


def _sensor_lean(report: Report) -> tuple[Figure | None, Figure | None]:
    """Lean of sensor and lens to each other, where a series along the rail shows it."""
    for setting in report.settings:
        if setting.focus and setting.focus.lean and setting.focus.lean.sensor_deg:
            return setting.focus.lean.sensor_deg
    return None, None
