"""How far colours land from green, which way, and by how much arrows are enlarged."""

from __future__ import annotations

import math

import numpy as np

from lensbench import frame
from lensbench.findings import Figure, Report, Setting, TileFringing, ZoneFringing
from lensbench.reporter.values.figures import nice_floor

_MOSTLY = 0.7
"""A colour lies outward or inward where its radial part is so much of its distance, else sideways (45°)."""

_LONGEST_ARROW = 0.16
"""The report's longest arrow, in half-diagonals of the frame; chosen by eye."""

_LEAST_PX = 0.5
"""Fringing below this shows in no picture, and is not enlarged to look as if it did."""


def farthest_colour(setting: Setting) -> tuple[ZoneFringing, Figure] | None:
    """The zone and channel that lie farthest from green, and how far; None without any."""
    zones = setting.fringing.zones if setting.fringing else []
    if not zones:
        return None
    farthest = max(zones, key=lambda zone: math.hypot(zone.radial_px.value, zone.around_px.value))
    return farthest, distance(farthest)


def distance(zone: ZoneFringing) -> Figure:
    """How far a zone's colour lies from green, whichever way."""
    radial, around = zone.radial_px, zone.around_px
    size = math.hypot(radial.value, around.value)
    half = math.hypot(radial.value * radial.half_width, around.value * around.half_width) / size if size else 0.0
    return Figure.of(size, half, "px")


def way(zone: ZoneFringing) -> str:
    """Which way a zone's colour lies from green: ``outward``, ``inward`` or ``sideways``."""
    if abs(zone.radial_px.value) < _MOSTLY * distance(zone).value:
        return "sideways"
    return "outward" if zone.radial_px.value > 0 else "inward"


def tiles_of(setting: Setting) -> list[TileFringing]:
    """The tiles whose colours were measured."""
    return setting.fringing.tiles if setting.fringing else []


def arrow_scale(report: Report) -> float:
    """How many times their length all arrows of a report are drawn: a round number that fits the longest."""
    lengths = [
        np.hypot(shift.dx.value, shift.dy.value)
        for setting in report.settings
        for tile in tiles_of(setting)
        for shift in (tile.red, tile.blue)
        if shift
    ]
    longest = max(float(np.percentile(lengths, 99)) if lengths else 0.0, _LEAST_PX)
    return nice_floor(_LONGEST_ARROW * frame.half_diagonal(report.camera.size_px) / longest)
