"""How far the sheet is from square: in unequal sizes at opposite sides and, with the focal length, in degrees."""

from __future__ import annotations

import math

from lensbench.figure import Figure
from lensbench.findings import Geometry
from lensbench.watch._bench import Bench
from lensbench.watch._looks import SheetLean


def sheet_lean(geometry: Geometry, focal_mm: float | None, bench: Bench) -> SheetLean | None:
    """The sheet's lean in one shot; None where too few edges show it.

    A sheet that leans by the angle a is drawn larger by W tan(a) / v at one side of a frame W wide than at the
    other, v being the distance of the image behind the lens, f (1 + m / P).
    """
    alignment = geometry.alignment
    if alignment is None:
        return None
    right, bottom = alignment.wider_left_percent, alignment.wider_top_percent
    distance = image_distance_mm(geometry, focal_mm, bench)
    sides = bench.sensor_mm if distance is not None else None
    degrees: list[Figure | None] = [None, None]
    if distance is not None and sides is not None:
        degrees = [_angle(part, distance / side) for part, side in zip((right, bottom), sides, strict=True)]
    return SheetLean(right, bottom, degrees[0], degrees[1], alignment.distinguished_from_decentring)


def image_distance_mm(geometry: Geometry, focal_mm: float | None, bench: Bench) -> float | None:
    """How far behind the lens its image lies; None where focal length or magnification isn't known."""
    if focal_mm is None or geometry.magnification is None:
        return None
    return focal_mm * (1 + geometry.magnification.value / bench.pupil_ratio)


def _angle(percent: Figure, distances_a_side: float) -> Figure:
    low, value, high = (
        math.degrees(math.atan(end / 100 * distances_a_side)) for end in (percent.low, percent.value, percent.high)
    )
    return Figure(value, low, high, "°")
