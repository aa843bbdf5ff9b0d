"""The noise of a sample (photon noise, read noise, pixel-to-pixel gain), estimated from the shot itself."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.shot import Shot, Sublattice

BLOCK = 8
"""Side, in samples of one colour, of the blocks in which noise is estimated (chosen by experience)."""

BLOCKS_READ = 24_000
"""Blocks read per sublattice: enough to know the variance to 1 %, few enough to take no time beside loading."""

LEVELS = 24
"""Groups of like light in which the blocks are averaged before the model is fitted (chosen by experience)."""


@dataclass(frozen=True)
class Noise:
    """Variance of one sample against its light: reading + photons · light + gain · light².

    In stored units: `reading` is the variance of the read noise, `photons` the stored units an electron, and
    `gain` the square of the relative spread of the pixels' sensitivity.
    """

    reading: float
    photons: float
    gain: float

    def variance(self, light: ArrayLike) -> NDArray:
        """Variance of samples with this much light, of the same shape."""
        light = np.maximum(light, 0)
        return self.reading + self.photons * light + self.gain * light**2

    def sigma(self, light: ArrayLike) -> NDArray:
        """Standard deviation of samples with this much light."""
        return np.sqrt(self.variance(light))


def estimate_noise(shot: Shot, channel: str) -> Noise | None:
    """Estimate the noise of one channel from the smooth parts of a shot.

    Within a block, what a plane through the samples leaves is noise. Blocks with an edge or a mark vary much more
    over their width than between neighbours, and are left out.

    Parameters
    ----------
    shot : Shot
        Any shot with some smooth areas.
    channel : str
        The channel, such as ``green``.

    Returns
    -------
    Noise or None
        None where the shot has no smooth, unclipped area.
    """
    parts = [_read_blocks(shot, part) for part in shot.sublattices(channel)]
    light, variance = (np.concatenate(column) for column in zip(*parts, strict=True))
    if light.size < 20:
        return None
    levels = np.array([_level(light[rows], variance[rows]) for rows in _rows_by_light(light)])
    return Noise(*(float(v) for v in _fit(*levels.T)))


def _read_blocks(shot: Shot, part: Sublattice) -> tuple[NDArray, NDArray]:
    """Mean light and noise variance of a sample of smooth, unclipped blocks of one sublattice."""
    across = part.samples.shape[1] // BLOCK
    bands = part.samples.shape[0] // BLOCK
    if across == 0 or bands == 0:
        return np.empty(0), np.empty(0)
    chosen = np.unique(np.linspace(0, bands - 1, max(1, BLOCKS_READ // across)).astype(int))
    rows = (chosen[:, None] * BLOCK + np.arange(BLOCK)).ravel()
    stored = part.samples[rows, : across * BLOCK]
    left, right = (shot.light(stored[:, half::2], part.colour_index) for half in (0, 1))
    # Two by two samples: their sum and their mixed difference, in rows of quads, `half` of them to each block.
    half = BLOCK // 2
    sums, mixed = (one[::2] + sign * one[1::2] for one, sign in ((left + right, 1), (left - right, -1)))
    quads = sums.reshape(len(chosen), half, across, half) / 2
    fine = _block_sums(np.square(mixed / 2).reshape(quads.shape)) / half**2
    mean = _block_sums(quads) / (2 * half**2)
    # Like the mixed difference, residuals from row and column means are free of slopes.
    quads -= quads.mean(axis=1, keepdims=True)
    quads -= quads.mean(axis=3, keepdims=True)
    coarse = _block_sums(np.square(quads)) / (half - 1) ** 2
    clipped = stored.reshape(len(chosen), BLOCK, across, BLOCK).max(axis=1).max(axis=2) >= shot.white
    # Of noise alone both estimate one variance (two blocks in a thousand are lost by chance); an edge has more.
    smooth = (coarse < 5 * fine) & ~clipped
    return mean[smooth], fine[smooth]


def _block_sums(quads: NDArray[np.floating]) -> NDArray[np.float64]:
    """Sums over the second and fourth axis, shape (blocks down, blocks across)."""
    return quads.sum(axis=1).sum(axis=2, dtype=np.float64)


def _rows_by_light(light: NDArray) -> list[NDArray]:
    """Indices of the blocks in LEVELS groups of like light and like number."""
    return [rows for rows in np.array_split(np.argsort(light), LEVELS) if rows.size]


def _level(light: NDArray, variance: NDArray) -> tuple[float, float, float]:
    """Mean light, noise variance and number of blocks of one group, without its outliers (hot pixels, dirt)."""
    # A block's variance is a mean of 16 squares: 1 + 4 √(2/16) of the median is its four-sigma bound.
    keep = variance <= 2.4 * np.median(variance)
    return float(light[keep].mean()), float(variance[keep].mean()), float(keep.sum())


def _fit(light: NDArray, variance: NDArray, blocks: NDArray) -> NDArray:
    """Reading, photon and gain terms, none negative, by least squares of relative errors."""
    light = np.maximum(light, 0)
    scale = np.array([1.0, max(light.max(), 1e-30), max(light.max(), 1e-30) ** 2])
    weight = np.sqrt(blocks) / np.maximum(variance, 1e-30)
    columns = np.stack([np.ones_like(light), light, light**2], axis=1) / scale
    return _least_squares_above_0(columns * weight[:, None], variance * weight) / scale


def _least_squares_above_0(columns: NDArray, values: NDArray) -> NDArray[np.float64]:
    """Least squares with no weight below 0: the best of all sets of columns; few columns have few sets.

    (SciPy's solver takes several times as long to import as a flat takes to read.)
    """
    best, least = np.zeros(columns.shape[1]), np.inf
    for chosen in product((False, True), repeat=columns.shape[1]):
        weights = np.zeros(columns.shape[1])
        own = columns[:, chosen]
        weights[list(chosen)] = np.linalg.lstsq(own, values, rcond=None)[0]
        misfit = float(np.sum((columns @ weights - values) ** 2))
        if weights.min() >= 0 and misfit < least:
            best, least = weights, misfit
    return best
