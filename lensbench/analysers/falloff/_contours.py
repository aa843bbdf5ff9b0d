"""Contours of the falloff map, and the share of the frame beyond each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from lensbench.analysers.flat_light import MAP_STOPS, READABLE_STOPS
from lensbench.findings import FalloffContour, Figure


def light_contours(x: NDArray, y: NDArray, stops: NDArray) -> list[FalloffContour]:
    """Contours at thirds of a stop, and how much of the frame is darker.

    Parameters
    ----------
    x, y : ndarray
        The reported map's positions in pixels.
    stops : ndarray, shape (y, x)
        The reported map; NaN where it could not be measured.

    Returns
    -------
    list of FalloffContour
    """
    known = np.isfinite(stops)
    if not known.any():
        return []
    filled = np.where(known, stops, READABLE_STOPS)
    found = []
    for third in range(1, int(np.floor(3 * filled.max())) + 1):
        level = third / 3
        lines = find_contours(filled, level, mask=known)
        shares = [100 * _share_beyond(filled, level - sign * MAP_STOPS) for sign in (-1, 0, 1)]
        listed = [
            [(round(float(px), 1), round(float(py), 1)) for px, py in _in_pixels(line, x, y)] for line in lines
        ]
        figure = Figure(shares[1], shares[0], shares[2], "%")
        found.append(FalloffContour(round(level, 4), figure, listed))
    return found


def _share_beyond(stops: NDArray, level: float) -> float:
    """Share of the frame that is darker than a level; cells that the contour crosses count in part."""
    cells = np.stack([stops[:-1, :-1], stops[1:, :-1], stops[:-1, 1:], stops[1:, 1:]])
    low, high = cells.min(axis=0), cells.max(axis=0)
    return float(np.mean(np.clip((high - level) / np.maximum(high - low, 1e-9), 0, 1)))


def _in_pixels(line: NDArray, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """A line of (row, column) in the map as (x, y) in pixels."""
    rows, columns = line.T
    return np.stack([np.interp(columns, np.arange(len(x)), x), np.interp(rows, np.arange(len(y)), y)], axis=1)
