"""Blocks of like light and like distance from the centre, averaged: the points of a photon transfer curve."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.uniform_blocks import DEGREES

RINGS = 3
"""Parts by distance from the centre that each level of light is divided into."""

FEWEST_BLOCKS = 30
"""Blocks of a level: its variance is then known to 3 %."""

UNSURE = 0.003
"""Relative error of a level's variance besides its noise (chosen by experience)."""

LEAST_KEPT = 0.95
"""Share of a level's blocks that mustn't be outliers, for the others to be trusted to a per cent (chosen by
experience)."""


class Levels(NamedTuple):
    """Averages over blocks of like light: light, variance, its relative standard deviation, h², share averaged."""

    light: NDArray[np.float64]
    variance: NDArray[np.float64]
    unsure: NDArray[np.float64]
    h2: NDArray[np.float64]
    kept: NDArray[np.float64]


def levels_of(light: NDArray, variance: NDArray, h2: NDArray, groups: int, rings: int = RINGS) -> Levels:
    """Average blocks in `groups` of like light, each in rings, without outliers (hot pixels, dirt).

    Levels without any noise, as where numbers are rounded coarsely, are left out.
    """
    rows = [
        _average(light[ring], variance[ring], h2[ring])
        for level in np.array_split(np.argsort(light, kind="stable"), groups)
        for ring in np.array_split(level[np.argsort(h2[level], kind="stable")], rings)
        if len(ring) >= FEWEST_BLOCKS and np.median(variance[ring]) > 0
    ]
    return Levels(*np.array(rows, float).reshape(-1, 5).T)


def without_littered(levels: Levels) -> Levels:
    """Those of whose blocks few are outliers: where hairs lie on many, more of them are faint ones."""
    return Levels(*(column[levels.kept > LEAST_KEPT] for column in levels))


def together(*several: Levels) -> Levels:
    """The levels of several groups of blocks as one."""
    return Levels(*(np.concatenate(column) for column in zip(*several, strict=True)))


def _average(light: NDArray, variance: NDArray, h2: NDArray) -> tuple[float, float, float, float, float]:
    # Four standard deviations of a block's variance over its median.
    kept = variance <= (1 + 4 * np.sqrt(2 / DEGREES)) * np.median(variance)
    unsure = np.hypot(np.sqrt(2 / DEGREES / kept.sum()), UNSURE)
    return light[kept].mean(), variance[kept].mean(), unsure, h2[kept].mean(), kept.mean()
