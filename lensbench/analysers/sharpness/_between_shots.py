"""By how much the shots of one setting differ beyond noise: refocused, shaken, or an iris that moved meanwhile."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

CHANCE = 1e-3
"""Shots that were taken alike count as different with this probability, in each zone."""


def variance_between_shots(value: NDArray, noise: NDArray, tile: NDArray, shot: NDArray) -> float:
    """Variance of a zone's mean by its shots' being unlike; 0 where noise explains it, or there is one shot.

    Parameters
    ----------
    value, noise : ndarray, shape (n,)
        A figure at the zone's positions, and its variance by noise.
    tile, shot : ndarray of int, shape (n,)
        Which tile each position is, and of which shot.
    """
    _, tile = np.unique(tile, return_inverse=True)
    shots = np.bincount(tile)
    # What differs from tile to tile is no difference between shots.
    rest = value - (np.bincount(tile, value) / shots)[tile]
    several = shots[tile] > 1
    if not several.any():
        return 0.0
    names, owner = np.unique(shot[several], return_inverse=True)
    count = np.bincount(owner)
    apart = np.bincount(owner, rest[several]) / count
    by_noise = np.bincount(owner, (noise * (1 - 1 / shots[tile]))[several]) / count**2
    freedom = len(names) - 1
    usual = float(by_noise.mean())
    more = float(np.sum(apart**2)) - usual * chi2.isf(CHANCE, freedom) / freedom * len(names)
    return max(more, 0.0) / (len(names) * freedom)
