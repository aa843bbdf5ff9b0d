"""The outlines of printed pieces: ink spread, ragged edges, enough points for distorted pictures."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.simulator.scene import Print

CHORD_PX = 5e-4
"""A curved side is drawn with as many chords as leave no more than this between chord and curve."""


def incentres(triangles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Incentres of triangles, shape (..., 3, 2) to (..., 2): even spread leaves them where they are."""
    sides = np.linalg.norm(np.roll(triangles, -1, axis=-2) - np.roll(triangles, 1, axis=-2), axis=-1)
    return np.sum(triangles * sides[..., None], axis=-2) / sides.sum(axis=-1, keepdims=True)


def spread_triangles(triangles: NDArray[np.float64], spread_mm: float) -> NDArray[np.float64]:
    """Move the sides of triangles, shape (..., 3, 2), outwards by an even amount."""
    a, b, c = np.moveaxis(triangles, -2, 0)
    twice_area = np.abs((b - a)[..., 0] * (c - a)[..., 1] - (b - a)[..., 1] * (c - a)[..., 0])
    around = np.linalg.norm(np.roll(triangles, -1, axis=-2) - triangles, axis=-1).sum(axis=-1)
    inradius = twice_area / around
    incentre = incentres(triangles)[..., None, :]
    return incentre + (triangles - incentre) * (1 + spread_mm / inradius)[..., None, None]


def outline_mm(corners_mm: NDArray, made: Print, sides: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """The outline of a polygon on the sheet, each side in `sides` parts, or in half dots where edges are ragged.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    parts = []
    for start, end in zip(corners_mm, np.roll(corners_mm, -1, axis=0), strict=True):
        length = np.linalg.norm(end - start)
        count = sides if made.raggedness_mm == 0 else int(np.ceil(2 * length / made.dot_mm))
        t = np.arange(count)[:, None] / count
        side = start + t * (end - start)
        if made.raggedness_mm > 0:
            normal = np.array([end[1] - start[1], start[0] - end[0]]) / length
            side = side + _rough(count, rng)[:, None] * made.raggedness_mm * normal
        parts.append(side)
    return np.concatenate(parts)


def _rough(count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Random heights of unit variance, alike over about two steps (one dot)."""
    return np.convolve(rng.standard_normal(count + 2), [0.5, 1 / np.sqrt(2), 0.5], "valid")


def parts_of_side(corners_px: NDArray, middles_px: NDArray) -> int:
    """How many chords a curved side needs, from where its corners and its middle lie.

    Parameters
    ----------
    corners_px, middles_px : ndarray, shape (n, 2)
        Middles of the sides that start at each corner.
    """
    bow = np.linalg.norm(middles_px - (corners_px + np.roll(corners_px, -1, axis=0)) / 2, axis=1).max()
    return int(np.clip(np.ceil(np.sqrt(bow / CHORD_PX)), 1, 400))
