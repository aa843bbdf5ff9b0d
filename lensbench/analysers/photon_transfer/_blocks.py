"""The uniform, unclipped blocks of a shot that its noise is measured in, small enough to be handed on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.even_choice import evenly_chosen
from lensbench.frame import centre_of, half_diagonal
from lensbench.shot import Shot, Sublattice

BLOCK = 8
"""Side of a block, in samples of one colour (chosen by experience)."""

MOST_BLOCKS = 8_000
"""Blocks looked at per sublattice: variance is then known to 0.3 % at ten levels of light."""

UNEVEN = 5.0
"""Blocks whose coarse variance is more than so many times their fine one hold an edge or a mark (as in
`noise`)."""

DARK, BRIGHT = 0.3, 0.4
"""Blocks with less (more) than this share of the brightest light count as a sheet's black (white)."""


@dataclass(frozen=True, eq=False)
class NoiseBlocks:
    """Uniform blocks of one shot in one channel.

    Attributes
    ----------
    index : ndarray of int, shape (blocks,)
        Which block of the frame each is, rising: the same place has the same number in any shot of that size.
    light : ndarray of float32, shape (blocks,)
        Mean light above black, stored units.
    residual : ndarray of float32, shape (blocks, BLOCK, BLOCK)
        What a fitted plane leaves of the light.
    h2 : ndarray of float32, shape (blocks,)
        Square of the distance from the frame's centre over the half-diagonal.
    full_scale : float
        The light at which the channel clips.
    step : float
        Distance of the stored numbers that occur.
    """

    index: NDArray[np.int64]
    light: NDArray[np.float32]
    residual: NDArray[np.float32]
    h2: NDArray[np.float32]
    full_scale: float
    step: float

    def __len__(self) -> int:
        return len(self.index)

    @property
    def variance(self) -> NDArray[np.float64]:
        """Variance of each block's noise, quantisation subtracted."""
        return variance_of(self.residual) - self.step**2 / 12

    @property
    def below_black(self) -> float:
        """The share of blocks that are darker than black by more than a thousandth of full scale."""
        return float(np.mean(self.light < -1e-3 * self.full_scale)) if len(self) else 0.0

    @property
    def coarseness(self) -> float:
        """The share of the noise in the brighter half that rounding to `step` makes up; 1 where there is none."""
        bright = self.light >= np.median(self.light)
        variance = float(np.median(variance_of(self.residual[bright])))
        return min(self.step**2 / 12 / variance, 1.0) if variance > 0 else 1.0

    def taken(self, chosen: NDArray) -> NoiseBlocks:
        """Only some of the blocks."""
        index, light, residual, h2 = self.index[chosen], self.light[chosen], self.residual[chosen], self.h2[chosen]
        return NoiseBlocks(index, light, residual, h2, self.full_scale, self.step)


def variance_of(residual: NDArray[np.float32]) -> NDArray[np.float64]:
    """Variance of blocks by what planes leave of them, shape (blocks,)."""
    return np.square(residual, dtype=np.float64).sum(axis=(1, 2)) / (BLOCK**2 - 3)


def read_noise_blocks(shot: Shot, channel: str | None = None) -> NoiseBlocks | None:
    """The uniform blocks of one channel of a shot, from rows spread over the frame.

    Parameters
    ----------
    shot : Shot
        Of a target or an even light.
    channel : str, optional
        The channel; otherwise the reference channel.

    Returns
    -------
    NoiseBlocks or None
        None where its samples are no whole numbers, as of a developed picture.
    """
    if shot.samples.dtype.kind not in "ui":
        return None
    channel = channel or shot.reference
    parts, first = [], 0
    for part in shot.sublattices(channel):
        parts.append(_blocks(shot, part, first))
        first += part.samples.size // BLOCK**2 + 1
    index, light, residual, h2 = (np.concatenate(column) for column in zip(*parts, strict=True))
    return NoiseBlocks(index, light, residual, h2, shot.full_scale(channel), _step(shot))


def _blocks(shot: Shot, part: Sublattice, first: int) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Number, light, residual and h² of one sublattice's uniform blocks, numbered from `first`."""
    down, across = (extent // BLOCK for extent in part.samples.shape)
    rows = evenly_chosen(down if across else 0, max(1, MOST_BLOCKS // max(across, 1)))
    stored = part.samples[(rows[:, None] * BLOCK + np.arange(BLOCK)).ravel(), : across * BLOCK]
    cut = stored.reshape(len(rows), BLOCK, across, BLOCK).swapaxes(1, 2).reshape(-1, BLOCK, BLOCK)
    row, column = (a.ravel() for a in np.meshgrid(rows, np.arange(across), indexing="ij"))
    light = shot.light(cut, part.colour_index).reshape(-1, BLOCK**2)
    residual = (light @ _PROJECTOR).reshape(-1, BLOCK, BLOCK)
    kept = np.flatnonzero(~(cut >= shot.white).any(axis=(1, 2)) & _is_uniform(residual))
    middle = np.stack([column, row], axis=1)[kept] * BLOCK + (BLOCK - 1) / 2
    away = middle * np.array(part.step) + np.array(part.first) - centre_of(shot.size)
    h2 = (np.square(away).sum(axis=1) / half_diagonal(shot.size) ** 2).astype(np.float32)
    return first + row[kept] * across + column[kept], light[kept].mean(axis=1), residual[kept], h2


def _is_uniform(residual: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which blocks vary over their width no more than between neighbours, as noise does."""
    quads = residual.reshape(-1, BLOCK // 2, 2, BLOCK // 2, 2)
    sums = quads.sum(axis=(2, 4)) / 2
    mixed = (quads[:, :, 0, :, 0] - quads[:, :, 0, :, 1] - quads[:, :, 1, :, 0] + quads[:, :, 1, :, 1]) / 2
    return np.square(sums).sum(axis=(1, 2)) < UNEVEN * np.square(mixed).sum(axis=(1, 2))


def _step(shot: Shot) -> float:
    """The greatest number that all differences of stored numbers are multiples of."""
    some = np.unique(shot.samples[:: max(shot.samples.shape[0] // 64, 1)])
    return float(np.gcd.reduce(np.diff(some.astype(np.int64)))) if len(some) > 1 else 0.0


def _plane_removal() -> NDArray[np.float32]:
    """Projector that subtracts a block's fitted plane."""
    row, column = (a.ravel() - (BLOCK - 1) / 2 for a in np.mgrid[:BLOCK, :BLOCK])
    shapes = np.stack([np.ones(BLOCK**2), row, column], axis=1)
    return np.asarray(np.eye(BLOCK**2) - shapes @ np.linalg.pinv(shapes), np.float32)


_PROJECTOR = _plane_removal()
