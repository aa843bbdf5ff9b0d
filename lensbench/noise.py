"""The noise of a sample (photon noise, read noise, pixel-to-pixel gain), estimated from the shot itself."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.uniform_blocks import FINE_DEGREES, UniformBlocks

FEWEST_BLOCKS = 20
"""Uniform blocks that are needed."""

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


def estimate_noise(blocks: UniformBlocks) -> Noise | None:
    """Estimate the noise of one channel from the uniform blocks of a shot.

    Parameters
    ----------
    blocks : UniformBlocks
        Of any shot.

    Returns
    -------
    Noise or None
        None where there are too few.
    """
    if len(blocks) < FEWEST_BLOCKS:
        return None
    light, variance = blocks.light, blocks.fine_variance
    levels = np.array([_level(light[rows], variance[rows]) for rows in _rows_by_light(light)])
    return Noise(*(float(v) for v in _fit(*levels.T)))


def _rows_by_light(light: NDArray) -> list[NDArray]:
    """Indices of the blocks in LEVELS groups of like light and like number."""
    return [rows for rows in np.array_split(np.argsort(light), LEVELS) if rows.size]


def _level(light: NDArray, variance: NDArray) -> tuple[float, float, float]:
    """Mean light, noise variance and number of blocks of one group, without its outliers (hot pixels, dirt)."""
    # Four standard deviations of a block's variance over its median.
    keep = variance <= (1 + 4 * np.sqrt(2 / FINE_DEGREES)) * np.median(variance)
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
