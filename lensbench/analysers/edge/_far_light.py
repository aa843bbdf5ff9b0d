"""Light that dark figures keep from places far off, as blur's tails spread it.

Every pupil with a rim spreads light as 1/r³ far out, so that an endless edge's light fades as a/u at the distance
u. By Green's theorem the light that a figure keeps from a place is then a sum over its sides: a/d of each, d the
distance from its line (positive outside), times (sin θ₂ - sin θ₁) / 2, where θ are the directions to its ends,
from the perpendicular on it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _crosstalk_loops as loops

SEEN_WHOLE = 4
"""Figures whose sides are looked at one by one; those after count as points."""


def kept_by_figures(corners: NDArray, owner: NDArray, at: NDArray) -> NDArray[np.float64]:
    """What triangles keep from places outside them, over the a of an endless edge's a/u; a pixel, not more.

    Parameters
    ----------
    corners : ndarray, shape (n, k, 3, 2)
        Of k triangles for each of n sets of places, the nearest first; NaN where there are fewer.
    owner : ndarray of int, shape (places,)
        Which of the sets each place is of.
    at : ndarray, shape (places, 2)
        Where (x, y).

    Returns
    -------
    ndarray, shape (places,)
    """
    across = np.roll(corners, -1, axis=2) - corners
    half = np.hypot(across[..., 0], across[..., 1]) / 2
    along = across / (2 * half[..., None])
    twice_the_area = across[..., 0, 0] * across[..., 1, 1] - across[..., 0, 1] * across[..., 1, 0]
    outward = np.sign(twice_the_area)[..., None, None] * np.stack([along[..., 1], -along[..., 0]], axis=-1)
    sides = np.concatenate([corners + across / 2, along, outward, half[..., None]], axis=-1)
    points = np.concatenate([corners.mean(axis=2), np.abs(twice_the_area)[..., None] / 4], axis=-1)
    near = sides[:, :SEEN_WHOLE]
    whole = near.reshape(len(corners), near.shape[1] * 3, near.shape[-1])
    return loops.kept_by_figures(whole, points[:, SEEN_WHOLE:].copy(), owner, at)
