"""The noise in a shot's black and white: its variance, and its correlation between neighbouring samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.even_choice import evenly_chosen
from lensbench.shot import Shot, Sublattice

BLOCK = 7
"""Side of the blocks that noise is measured in, in samples of one colour: so small that the tail of a wide blur is
a paraboloid there (study: `tests/bench/gauntlet`, clean shots)."""

MOST_BLOCKS = 20_000
"""Blocks measured per sublattice at most: the correlation is then known to 0.001."""

FEWEST_BLOCKS = 12
"""Uniform blocks needed for a figure: the correlation is then known to 0.03."""

DARK, BRIGHT = 0.3, 0.4
"""Blocks with less (more) than this share of the brightest light count as the sheet's black (white; chosen by
experience)."""

MAX_VARIANCE = 2.0
"""Blocks with more than so many times the lower quartile of the variance hold an edge or a mark (chosen by
experience)."""


@dataclass(frozen=True)
class NoiseLevel:
    """The noise of blocks of similar light, in stored units.

    Attributes
    ----------
    light, variance : float
        Mean light above black, and the noise's variance.
    neighbour_correlation : float
        Correlation of adjacent samples of one colour; 0 for a sensor's own noise.
    blocks : int
        How many blocks were measured.
    """

    light: float
    variance: float
    neighbour_correlation: float
    blocks: int


@dataclass(frozen=True)
class NoisePattern:
    """The noise in the black and in the white of a target shot; None where there is too little of it."""

    black: NoiseLevel | None
    white: NoiseLevel | None


def measure_noise_pattern(shot: Shot, channel: str) -> NoisePattern:
    """Measure the noise of one channel in the uniform parts of a target shot.

    Parameters
    ----------
    shot : Shot
        With black and white areas.
    channel : str
        One of its channels.

    Returns
    -------
    NoisePattern
    """
    parts = [_blocks(shot, part) for part in shot.sublattices(channel)]
    light, variance, covariance = (np.concatenate(column) for column in zip(*parts, strict=True))
    if len(light) == 0:
        return NoisePattern(None, None)
    brightest = np.percentile(light, 95)
    return NoisePattern(
        _level(light, variance, covariance, (light > 0) & (light < DARK * brightest)),
        _level(light, variance, covariance, light > BRIGHT * brightest),
    )


def _level(light: NDArray, variance: NDArray, covariance: NDArray, chosen: NDArray) -> NoiseLevel | None:
    if chosen.sum() < FEWEST_BLOCKS:
        return None
    light, variance, covariance = light[chosen], variance[chosen], covariance[chosen]
    # The variance of photon noise is proportional to the light, and so the limit is.
    share = variance / light
    uniform = share <= MAX_VARIANCE * np.percentile(share, 25)
    if uniform.sum() < FEWEST_BLOCKS:
        return None
    total = float(variance[uniform].mean())
    correlation = float(covariance[uniform].mean()) / total if total > 0 else 0.0
    return NoiseLevel(float(light[uniform].mean()), total, correlation, int(uniform.sum()))


TERMS = 6
"""Of a paraboloid."""


def _paraboloid_removal() -> tuple[NDArray, float]:
    """Projector that subtracts a fitted paraboloid, and the covariance it gives neighbours of white noise."""
    row, column = (a.ravel() - (BLOCK - 1) / 2 for a in np.mgrid[:BLOCK, :BLOCK])
    shapes = np.stack([np.ones(BLOCK**2), row, column, row**2, row * column, column**2], axis=1)
    projector = np.eye(BLOCK**2) - shapes @ np.linalg.pinv(shapes)
    return projector, float(_adjacent_mean(projector.reshape(BLOCK, BLOCK, BLOCK, BLOCK)))


def _adjacent_mean(products: NDArray) -> float:
    """Mean over adjacent pairs of a table of products [row, column, row, column]."""
    k = np.arange(BLOCK)
    across = products[:, k[:-1], :, k[1:]][:, k, k]
    down = products[k[:-1], :, k[1:], :][:, k, k]
    return float(across.mean() + down.mean()) / 2


_PROJECTOR, _RESIDUAL_COVARIANCE = _paraboloid_removal()


def _blocks(shot: Shot, part: Sublattice) -> tuple[NDArray, NDArray, NDArray]:
    """Mean light, variance and neighbours' covariance of unclipped blocks of one sublattice, less paraboloids."""
    down, across = (extent // BLOCK for extent in part.samples.shape)
    if down == 0 or across == 0:
        return np.empty(0), np.empty(0), np.empty(0)
    rows = evenly_chosen(down, max(1, MOST_BLOCKS // across))
    stored = part.samples[(rows[:, None] * BLOCK + np.arange(BLOCK)).ravel(), : across * BLOCK]
    cut = stored.reshape(len(rows), BLOCK, across, BLOCK).swapaxes(1, 2).reshape(-1, BLOCK, BLOCK)
    light = shot.light(cut[~(cut >= shot.white).any(axis=(1, 2))], part.colour_index).reshape(-1, BLOCK**2)
    residual = (light @ _PROJECTOR.astype(np.float32)).reshape(-1, BLOCK, BLOCK)
    variance = np.square(residual, dtype=np.float64).sum(axis=(1, 2)) / (BLOCK**2 - TERMS)
    across_ = (residual[:, :, :-1] * residual[:, :, 1:]).mean(axis=(1, 2), dtype=np.float64)
    down_ = (residual[:, :-1] * residual[:, 1:]).mean(axis=(1, 2), dtype=np.float64)
    return light.mean(axis=1, dtype=np.float64), variance, (across_ + down_) / 2 - variance * _RESIDUAL_COVARIANCE
