"""Correlation of the noise between neighbours, and what of it the sheet's texture doesn't make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.photon_transfer._sheet import black_and_white, is_grainy
from lensbench.uniform_blocks import BLOCK, UniformBlocks, paraboloid_shapes

TEXTURED = 0.03
"""Correlation of neighbours from which paper shows beside the noise: its variance depends on how sharply it is
drawn, so that no line can be trusted (raw samples: 0.00 ± 0.01)."""

SURE = 4.0
"""Standard deviations by which a correlation must exceed what is allowed."""

MOST_CORRELATION = 0.01
"""Correlation of neighbours of one colour that a sensor may have by itself (common practice: under 1 %)."""

FEWEST_BLOCKS = 40
"""Blocks of black, and of white, that are needed."""


@dataclass(frozen=True)
class SharedNoise:
    """Correlation between neighbours that goes with the photon noise, and its standard deviation.

    Below zero after sharpening, above it after smoothing or resampling; without black never above it, whatever was
    done (`bound`).
    """

    correlation: float
    sigma: float
    bound: bool = False

    @classmethod
    def mean(cls, several: Sequence[SharedNoise]) -> SharedNoise:
        """The weighted mean over channels, those without black left out where others have it."""
        several = [one for one in several if not one.bound] or several
        weights = np.array([1 / one.sigma**2 for one in several])
        mean = np.average([one.correlation for one in several], weights=weights)
        return cls(float(mean), float(weights.sum() ** -0.5))

    @property
    def processed(self) -> bool:
        """Whether the samples were filtered after the sensor."""
        return abs(self.correlation) - SURE * self.sigma > MOST_CORRELATION


class _Mean(NamedTuple):
    """Means over blocks: covariance of neighbours by light, its standard error, variance by light, and light."""

    covariance: float
    sigma: float
    variance: float
    light: float


def measure_shared_noise(blocks: UniformBlocks) -> SharedNoise | None:
    """The correlation that goes with the light, as photon noise does, not with its square, as texture does.

    Parameters
    ----------
    blocks : UniformBlocks
        Of a target shot or a flat.

    Returns
    -------
    SharedNoise or None
        None where there is too little white. Without black, texture can't be told from smoothing, so that only
        sharpening shows.
    """
    black, white = black_and_white(blocks)
    if len(white) < FEWEST_BLOCKS:
        return None
    bright = _mean(white)
    # Texture of paper makes neighbours alike, never opposed.
    by_white = _shared(min(bright.covariance, 0.0), bright.sigma, bright.variance, bound=True)
    if len(black) < FEWEST_BLOCKS:
        return by_white
    # Per unit of light, photon noise gives the same at all levels and texture what grows with the light.
    dark = _mean(black)
    lever = dark.light / (bright.light - dark.light)
    covariance, variance = (
        float(low - lever * (high - low))
        for low, high in ((dark.covariance, bright.covariance), (dark.variance, bright.variance))
    )
    if covariance < 0 and is_grainy(black, white):
        return by_white
    sigma = float(np.hypot((1 + lever) * dark.sigma, lever * bright.sigma))
    if bright.covariance < covariance:
        # Less in white than without any texture: something else lies in the black, as halos of sharpened edges.
        return by_white if bright.covariance < 0 else _shared(bright.covariance, sigma, bright.variance)
    return _shared(covariance, sigma, variance)


def _shared(covariance: float, sigma: float, variance: float, bound: bool = False) -> SharedNoise | None:
    return SharedNoise(covariance / variance, sigma / variance, bound) if variance > 0 else None


def neighbour_correlation(blocks: UniformBlocks) -> float:
    """Correlation of neighbouring samples of one colour in blocks; 0 for a sensor's noise."""
    if len(blocks) == 0:
        return 0.0
    covariance, variance = (float(values.mean()) for values in _moments(_usual(blocks)))
    return covariance / variance if variance > 0 else 0.0


def _mean(blocks: UniformBlocks) -> _Mean:
    usual = _usual(blocks)
    light = float(usual.light.mean())
    covariance, variance = _moments(usual)
    sigma = float(covariance.std() / np.sqrt(len(usual)))
    return _Mean(float(covariance.mean()) / light, sigma / light, float(variance.mean()) / light, light)


def _usual(blocks: UniformBlocks) -> UniformBlocks:
    """The blocks without outliers (hot pixels, dirt)."""
    variance = blocks.variance
    return blocks.taken(variance <= 2 * np.median(variance))


def _moments(blocks: UniformBlocks) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Covariance of neighbours, across and down, and variance of each block, before the paraboloid was fitted."""
    flat = blocks.residual.reshape(-1, BLOCK**2)
    covariance, variance = (np.einsum("ij,ij->i", flat @ form, flat, dtype=np.float64) for form in _FORMS)
    return covariance, variance


LAGS = ((0, 1), (0, 0), (1, 1))
"""Distances down and across, or across and down, over which samples may share their noise. (With lags up to 2 all
of what 3 × 3 samples share was seen, else six sevenths; but errors were a third larger.)"""


def _forms() -> NDArray[np.float32]:
    """Quadratic forms of a block's residual whose means are the covariances at the first two of `LAGS`.

    A fitted paraboloid takes some of what samples share, and leaves neighbours of white noise a little opposed.
    What it leaves of a covariance at each lag is known, so covariances follow from the residual's mean products.
    """
    row, column = (a.ravel() for a in np.mgrid[:BLOCK, :BLOCK])
    distances = np.sort([np.abs(row[:, None] - row), np.abs(column[:, None] - column)], axis=0)
    pairs = np.array([(distances[0] == low) & (distances[1] == high) for low, high in LAGS], float)
    shapes = paraboloid_shapes()
    left = np.eye(BLOCK**2) - shapes @ shapes.T
    means = pairs / pairs.sum(axis=(1, 2), keepdims=True)
    response = np.einsum("lij,mij->lm", means, left @ pairs @ left)
    return np.tensordot(np.linalg.inv(response)[:2], means, 1).astype(np.float32)


_FORMS = _forms()
