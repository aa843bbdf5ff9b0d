"""Correlation of the noise between neighbours, and what of it the sheet's texture doesn't make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.photon_transfer._blocks import BLOCK, BRIGHT, DARK, NoiseBlocks, variance_of

TEXTURED = 0.03
"""Correlation of neighbours from which paper shows beside the noise: its variance depends on how sharply it is
drawn, so that no line can be trusted (raw samples: 0.00 ± 0.01)."""

SURE = 4.0
"""Standard deviations by which a correlation must exceed what is allowed."""

MOST_CORRELATION = 0.01
"""Correlation of neighbours of one colour that a sensor may have by itself (common practice: under 1 %)."""

LIKE = 0.1
"""Neighbouring blocks whose light differs by less than this share have no edge between them."""

FEWEST_BLOCKS = 40
"""Blocks of black, and of white, that are needed."""


@dataclass(frozen=True)
class SharedNoise:
    """Correlation between neighbours that goes with the photon noise, and its standard deviation.

    Below zero after sharpening, above it after smoothing or resampling.
    """

    correlation: float
    sigma: float

    @classmethod
    def mean(cls, several: Sequence[SharedNoise]) -> SharedNoise:
        """The weighted mean over channels."""
        weights = np.array([1 / one.sigma**2 for one in several])
        mean = np.average([one.correlation for one in several], weights=weights)
        return cls(float(mean), float(weights.sum() ** -0.5))

    @property
    def processed(self) -> bool:
        """Whether the samples were filtered after the sensor."""
        return abs(self.correlation) - SURE * self.sigma > MOST_CORRELATION


def measure_shared_noise(blocks: NoiseBlocks) -> SharedNoise | None:
    """The correlation that goes with the light, as photon noise does, not with its square, as texture does.

    Parameters
    ----------
    blocks : NoiseBlocks
        Of a target shot or a flat.

    Returns
    -------
    SharedNoise or None
        None where there is too little white. Without black, texture can't be told from smoothing, so that only
        sharpening shows.
    """
    if len(blocks) == 0:
        return None
    share = blocks.light / np.percentile(blocks.light, 95)
    far = far_from_edges(blocks)
    blocks, share = blocks.taken(far), share[far]
    parts = [blocks.taken((share < DARK) & (blocks.light > 0)), blocks.taken(share > BRIGHT)]
    if len(parts[1]) < FEWEST_BLOCKS:
        return None
    if len(parts[0]) < FEWEST_BLOCKS:
        # Texture makes neighbours alike, never opposed.
        covariance, sigma, light = _per_light(parts[1])
        usual = float(np.median(variance_of(parts[1].residual)) / light)
        return SharedNoise(min(covariance / usual, 0.0), sigma / usual) if usual > 0 else None
    # Per unit of light, photon noise gives the same at all levels and texture what grows with the light.
    (dark, dark_sigma, dark_light), (bright, bright_sigma, bright_light) = (_per_light(part) for part in parts)
    lever = dark_light / (bright_light - dark_light)
    value = dark - lever * (bright - dark)
    sigma = float(np.hypot((1 + lever) * dark_sigma, lever * bright_sigma))
    usual = float(np.median(variance_of(parts[0].residual)) / dark_light)
    return SharedNoise(value / usual, sigma / usual) if usual > 0 else None


def far_from_edges(blocks: NoiseBlocks) -> NDArray[np.bool_]:
    """Which blocks lie between two that are uniform, too, and of like light: halos of edges end there."""
    gap, light = np.diff(blocks.index), blocks.light
    like = (gap == 1) & (np.abs(np.diff(light)) < LIKE * np.minimum(light[1:], light[:-1]))
    return np.append(False, like) & np.append(like, False)


def neighbour_correlation(blocks: NoiseBlocks) -> float:
    """Correlation of neighbouring samples of one colour in blocks; 0 for a sensor's noise."""
    if len(blocks) == 0:
        return 0.0
    covariance, variance = _products(blocks)
    usual = variance <= 2 * np.median(variance)
    total = float(variance[usual].mean())
    return float(covariance[usual].mean()) / total if total > 0 else 0.0


def _per_light(blocks: NoiseBlocks) -> tuple[float, float, float]:
    """Mean covariance of neighbours over the light, its standard deviation, and the light."""
    covariance, variance = _products(blocks)
    usual = variance <= 2 * np.median(variance)
    light = float(blocks.light[usual].mean())
    values = covariance[usual] / light
    return float(values.mean()), float(values.std() / np.sqrt(len(values))), light


def _products(blocks: NoiseBlocks) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Covariance of neighbours and variance of each block."""
    residual = blocks.residual
    across = (residual[:, :, :-1] * residual[:, :, 1:]).mean(axis=(1, 2), dtype=np.float64)
    down = (residual[:, :-1] * residual[:, 1:]).mean(axis=(1, 2), dtype=np.float64)
    variance = variance_of(residual)
    # The fitted plane takes degrees of freedom, which leaves neighbours a little opposed.
    return (across + down) / 2 - variance * _OPPOSED, variance


def _opposed() -> float:
    """The covariance that subtracting a plane gives neighbours of noise of variance 1."""
    row, column = (a.ravel() - (BLOCK - 1) / 2 for a in np.mgrid[:BLOCK, :BLOCK])
    shapes = np.stack([np.ones(BLOCK**2), row, column], axis=1)
    left = np.eye(BLOCK**2) - shapes @ np.linalg.pinv(shapes)
    number = np.arange(BLOCK**2).reshape(BLOCK, BLOCK)
    pairs = [(number[:, :-1], number[:, 1:]), (number[:-1], number[1:])]
    return float(np.mean([left[one.ravel(), other.ravel()].mean() for one, other in pairs]))


_OPPOSED = _opposed()
