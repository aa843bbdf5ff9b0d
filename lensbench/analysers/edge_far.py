"""Light that dark figures keep from places far off, as blur's tails spread it.

Every pupil with a rim spreads light as 1/r³ far out, so that an endless edge's light fades as a/u at the distance
u. By Green's theorem the light that a figure keeps from a place is then a sum over its sides: a/d of each, d the
distance from its line (positive outside), times (sin θ₂ - sin θ₁) / 2, where θ are the directions to its ends,
from the perpendicular on it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def subtended(distance: NDArray, along: NDArray, half: NDArray) -> NDArray:
    """Share of an endless edge's far light that a finite one has: (sin θ₂ - sin θ₁) / 2.

    Parameters
    ----------
    distance, along : ndarray
        Of places from the edge's line, and along it from the edge's middle; not 0 both at an end.
    half : ndarray
        Half of the edge's length.
    """
    square = distance * distance
    before, after = half + along, half - along
    return 0.5 * (before / np.sqrt(before * before + square) + after / np.sqrt(after * after + square))


SEEN_WHOLE = 4
"""Figures whose sides are looked at one by one; those after count as points."""


def kept_by_figures(corners: NDArray, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """What triangles keep from places outside them, over the a of an endless edge's a/u; a pixel, not more.

    Parameters
    ----------
    corners : ndarray, shape (n, k, 3, 2)
        Of k triangles for each of n sets of places, the nearest first; NaN where there are fewer.
    x, y : ndarray, shape (n, …)
        Where.

    Returns
    -------
    ndarray, shape (n, …)
    """
    result = np.zeros(x.shape)
    place = x, y, (slice(None),) + (None,) * (x.ndim - 1)
    for k in range(corners.shape[1]):
        kept = (_kept_by_sides if k < SEEN_WHOLE else _kept_by_point)(corners[:, k], *place)
        result += np.where(np.isfinite(kept), kept, 0.0)
    return result


def _kept_by_sides(figure: NDArray, x: NDArray, y: NDArray, between: tuple) -> NDArray:
    way_round = np.sign(_twice_the_area(figure))
    total = np.zeros(x.shape)
    for i in range(3):
        a, b = figure[:, i], figure[:, (i + 1) % 3]
        half = np.hypot(*(b - a).T) / 2
        (mx, my), (ax, ay) = (a + b).T / 2, (b - a).T / (2 * half)
        dx, dy = x - mx[between], y - my[between]
        d = dx * (ay * way_round)[between] - dy * (ax * way_round)[between]
        t = dx * ax[between] + dy * ay[between]
        total += subtended(d, t, half[between]) * d / np.maximum(d * d, 1.0)
    return total


def _kept_by_point(figure: NDArray, x: NDArray, y: NDArray, between: tuple) -> NDArray:
    mx, my = figure.mean(axis=1).T
    square = (x - mx[between]) ** 2 + (y - my[between]) ** 2
    return (np.abs(_twice_the_area(figure)) / 4)[between] / (square * np.sqrt(square))


def _twice_the_area(figure: NDArray) -> NDArray:
    (ax, ay), (bx, by) = (figure[:, 1] - figure[:, 0]).T, (figure[:, 2] - figure[:, 0]).T
    return ax * by - ay * bx
