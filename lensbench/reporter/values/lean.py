"""How sensor, lens and sheet leaned, as seen from above and from the side, and how steep that is drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.findings import AssemblyFault, Figure, Report
from lensbench.reporter.values.figures import beyond_chance, if_beyond_chance, nice_floor

_LARGEST_DEG = 14.0
"""The larger lean is drawn about so steep ..."""

_MOST_TIMES = 20.0
"""... but not more than so many times as steep as it is: what is next to nothing has to look like it."""


@dataclass(frozen=True)
class Lean:
    """How things leaned, seen from one side.

    `ends` are the ends of the sheet, the upper one in the drawing first. `sheet_deg` is how far the lower one is
    turned away from the camera, `sheet_percent` how much larger the upper one is drawn for it, `sheet_about_deg`
    that lean in degrees with an image distance of one diagonal, for want of the real one; `sensor_deg` the
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
    sheet_about_deg: float = 0.0


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
    # A lean of lens and sensor that is no fault is too little, or a curved field's.
    sensor = _sensor_lean(report) if fault is not None else (None, None)
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
            _about_deg(percent, side / np.hypot(*report.camera.size_px)),
        )
        for (view, ends, degrees, percent, own), side in zip(views, report.camera.size_px, strict=True)
    ]


def _about_deg(percent: Figure, share: float) -> float:
    """The sheet's lean by its keystone with an image distance of one diagonal, of which the side is a share."""
    return float(np.degrees(np.arctan(percent.value / 100 / share))) if beyond_chance(percent) else 0.0


def times_drawn(leans: list[Lean]) -> float | None:
    """How many times as steep as they are leans are drawn; None where nothing leans."""
    degrees = [
        abs(part) for lean in leans for part in (_sheet(lean), lean.sensor_deg.value if lean.sensor_deg else 0)
    ]
    steepest = max(degrees, default=0.0)
    return min(max(nice_floor(_LARGEST_DEG / steepest), 1.0), _MOST_TIMES) if steepest else None


def drawn_deg(lean: Lean, leans: list[Lean]) -> float:
    """The sheet's lean as drawn, in degrees: a round number of times as steep as it is."""
    return float(np.clip(_sheet(lean) * (times_drawn(leans) or 1.0), -2 * _LARGEST_DEG, 2 * _LARGEST_DEG))


def _sheet(lean: Lean) -> float:
    """The sheet's lean in degrees, as far as it is known."""
    return lean.sheet_deg.value if lean.sheet_deg else lean.sheet_about_deg


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
