"""Whether the noise in a shot is still what a sensor makes: each sample's own, and as large as photons ask for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot, Sublattice

BLOCK = 8
"""Side, in samples of one colour, of the blocks that are looked at."""

MOST_BLOCKS = 20_000
"""Blocks looked at per sublattice: enough for a hundredth of correlation."""

FEWEST_BLOCKS = 12
"""Fewer even blocks than this say nothing."""

DARK, BRIGHT = 0.3, 0.4
"""Blocks with less (more) than this share of the brightest light count as the sheet's black (white)."""

EVEN = 2.0
"""Blocks with more than so many times the variance of the quieter quarter hold an edge or a mark."""


@dataclass(frozen=True)
class NoiseLevel:
    """The noise of blocks of like light, in stored units.

    Attributes
    ----------
    light, variance : float
        Mean light above black, and the noise's variance.
    between_neighbours : float
        Correlation of samples of one colour that lie side by side; 0 for a sensor's own noise.
    blocks : int
        How many blocks tell so.
    """

    light: float
    variance: float
    between_neighbours: float
    blocks: int

    @property
    def unsure(self) -> float:
        """Standard deviation of the correlation."""
        return 1 / np.sqrt(2 * BLOCK * (BLOCK - 1) * self.blocks)


@dataclass(frozen=True)
class NoisePattern:
    """The noise in the black and in the white of a target shot; None where there is too little of it."""

    black: NoiseLevel | None
    white: NoiseLevel | None


def look_at_noise(shot: Shot, channel: str) -> NoisePattern:
    """Read the noise of one channel off the even parts of a target shot.

    Parameters
    ----------
    shot : Shot
        With black and white areas.
    channel : str
        One of its channels.
    """
    parts = [_blocks(shot, part) for part in shot.sublattices(channel)]
    light, variance, neighbours = (np.concatenate(column) for column in zip(*parts, strict=True))
    if len(light) == 0:
        return NoisePattern(None, None)
    brightest = np.percentile(light, 95)
    return NoisePattern(
        _level(light, variance, neighbours, (light > 0) & (light < DARK * brightest)),
        _level(light, variance, neighbours, light > BRIGHT * brightest),
    )


def _level(light: NDArray, variance: NDArray, neighbours: NDArray, chosen: NDArray) -> NoiseLevel | None:
    if chosen.sum() < FEWEST_BLOCKS:
        return None
    light, variance, neighbours = light[chosen], variance[chosen], neighbours[chosen]
    # Photons make the variance grow with light; so the limit does.
    share = variance / light
    even = share <= EVEN * np.percentile(share, 25)
    if even.sum() < FEWEST_BLOCKS:
        return None
    total = float(variance[even].mean())
    correlation = float(neighbours[even].mean()) / total if total > 0 else 0.0
    return NoiseLevel(float(light[even].mean()), total, correlation, int(even.sum()))


def _plane_removal() -> tuple[NDArray, float]:
    """What takes a plane off a block's samples, and the covariance it leaves between neighbours of white noise."""
    row, column = (a.ravel() - (BLOCK - 1) / 2 for a in np.mgrid[:BLOCK, :BLOCK])
    shapes = np.stack([np.ones(BLOCK**2), row, column], axis=1)
    left = np.eye(BLOCK**2) - shapes @ np.linalg.pinv(shapes)
    return left, float(_side_by_side(left.reshape(BLOCK, BLOCK, BLOCK, BLOCK)))


def _side_by_side(products: NDArray) -> float:
    """Mean over the pairs side by side of a table of products [row, column, row, column]."""
    k = np.arange(BLOCK)
    across = products[:, k[:-1], :, k[1:]][:, k, k]
    down = products[k[:-1], :, k[1:], :][:, k, k]
    return (across.mean() + down.mean()) / 2


_LEFT, _LEFT_BETWEEN = _plane_removal()


def _blocks(shot: Shot, part: Sublattice) -> tuple[NDArray, NDArray, NDArray]:
    """Mean light, variance and neighbours' covariance of unclipped blocks of one sublattice, planes taken off."""
    down, across = (extent // BLOCK for extent in part.samples.shape)
    if down == 0 or across == 0:
        return np.empty(0), np.empty(0), np.empty(0)
    rows = np.unique(np.linspace(0, down - 1, min(down, max(1, MOST_BLOCKS // across))).round().astype(int))
    stored = part.samples[(rows[:, None] * BLOCK + np.arange(BLOCK)).ravel(), : across * BLOCK]
    cut = stored.reshape(len(rows), BLOCK, across, BLOCK).swapaxes(1, 2).reshape(-1, BLOCK, BLOCK)
    light = shot.light(cut[~(cut >= shot.white).any(axis=(1, 2))], part.colour_index).reshape(-1, BLOCK**2)
    rest = (light @ _LEFT.astype(np.float32)).reshape(-1, BLOCK, BLOCK)
    variance = np.square(rest, dtype=np.float64).sum(axis=(1, 2)) / (BLOCK**2 - 3)
    across_ = (rest[:, :, :-1] * rest[:, :, 1:]).mean(axis=(1, 2), dtype=np.float64)
    down_ = (rest[:, :-1] * rest[:, 1:]).mean(axis=(1, 2), dtype=np.float64)
    return light.mean(axis=1, dtype=np.float64), variance, (across_ + down_) / 2 - variance * _LEFT_BETWEEN
