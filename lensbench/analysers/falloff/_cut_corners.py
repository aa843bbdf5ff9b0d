"""How much of each corner zone lies outside the image circle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import CutCorner, Figure, Position
from lensbench.frame import ZONES, zone_index

CORNERS = [zone for zone in ZONES if zone.startswith("corner")]

LEAST_CUT, UNCERTAINTY = 0.5, 4.0
"""Percent of a corner that must be cut for it to be named, and half of the interval without a circle (chosen by
experience)."""

SAMPLES = 400
"""Positions each way at which it is decided whether the corner is cut."""


def cut_by_circle(size: tuple[int, int], centre: Position, radius: Figure) -> list[CutCorner]:
    """How much of each corner zone lies beyond the circle on which half of the light is left."""
    x, y = sample_positions(size)
    distance = np.hypot(x[None, :] - centre.x.value, y[:, None] - centre.y.value)
    ends = [_percent_cut(size, distance > r) for r in (radius.value, radius.high, radius.low)]
    return [
        CutCorner(zone, Figure(value, low, high, "%"))
        for zone, value, low, high in zip(CORNERS, *ends, strict=True)
        if value > LEAST_CUT
    ]


def cut_by_mask(size: tuple[int, int], beyond: NDArray[np.bool_]) -> list[CutCorner]:
    """The same where too little of the edge is seen for a circle.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    beyond : ndarray of bool, shape (y, x)
        Which of `sample_positions` are cut.
    """
    return [
        CutCorner(zone, Figure(cut, max(cut - UNCERTAINTY, 0), min(cut + UNCERTAINTY, 100), "%"))
        for zone, cut in zip(CORNERS, _percent_cut(size, beyond), strict=True)
        if cut > LEAST_CUT
    ]


def sample_positions(size: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Positions across and down the frame, dense enough to count how much of a corner is cut."""
    width, height = size
    steps = (np.arange(SAMPLES) + 0.5) / SAMPLES
    return steps * width - 0.5, steps * height - 0.5


def _percent_cut(size: tuple[int, int], cut: NDArray[np.bool_]) -> list[float]:
    """Percent of each corner zone that is cut."""
    x, y = sample_positions(size)
    index = zone_index(x[None, :], y[:, None], size)
    return [100 * float(cut[index == ZONES.index(zone)].mean()) for zone in CORNERS]
