"""The uniform, unclipped blocks of a shot, where its noise shows: read once, and small enough to be handed on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.even_choice import evenly_chosen
from lensbench.frame import centre_of, half_diagonal
from lensbench.shot import Shot, Sublattice

BLOCK = 8
"""Side of a block, in samples of one colour: so small that the tail of a wide blur is a paraboloid there (study:
`tests/bench/gauntlet`, clean shots)."""

MOST_BLOCKS = 8_000
"""Blocks looked at per sublattice: variance is then known to 0.3 % at ten levels of light."""

DEGREES = BLOCK**2 - 6
"""Degrees of freedom that a paraboloid leaves a block's samples."""

FINE_DEGREES = BLOCK**2 // 4
"""Degrees of freedom of the mixed differences of two by two samples, of which paraboloids take next to nothing."""

UNEVEN = 5.0
"""Blocks whose coarse variance is more than so many times their fine one hold an edge or a mark: of white noise a
few blocks in ten thousand are lost by chance ..."""

UNEVEN_BESIDE = 8.0
"""... and where noise was smoothed, so that all blocks have more coarse variance than fine, those with so many
times the ratio of the lower quartile (chosen by experience)."""


@dataclass(frozen=True, eq=False)
class UniformBlocks:
    """Uniform blocks of one shot in one channel.

    Attributes
    ----------
    index : ndarray of int, shape (blocks,)
        Which block of the frame each is, rising: the same place has the same number in any shot of that size.
    light : ndarray of float32, shape (blocks,)
        Mean light above black, stored units.
    residual : ndarray of float32, shape (blocks, BLOCK, BLOCK)
        What a fitted paraboloid leaves of the light.
    h2 : ndarray of float32, shape (blocks,)
        Square of the distance from the frame's centre over the half-diagonal.
    full_scale : float
        The light at which the channel clips.
    black : float
        The stored number that the file states for no light.
    step : float
        Distance of the stored numbers that occur; 0 where they are no whole numbers, as of a developed picture.
    """

    index: NDArray[np.int64]
    light: NDArray[np.float32]
    residual: NDArray[np.float32]
    h2: NDArray[np.float32]
    full_scale: float
    black: float
    step: float

    def __len__(self) -> int:
        return len(self.index)

    @property
    def variance(self) -> NDArray[np.float64]:
        """Variance of each block's samples, shape (blocks,)."""
        return np.einsum("nij,nij->n", self.residual, self.residual, dtype=np.float64) / DEGREES

    @property
    def fine_variance(self) -> NDArray[np.float64]:
        """Variance of each block's samples by their differences to neighbours alone, shape (blocks,).

        Texture that is smooth over some samples counts little in it.
        """
        return _squares(self.residual)[1].astype(np.float64) / FINE_DEGREES

    @property
    def rounding(self) -> float:
        """What rounding to `step` adds to the variance."""
        return self.step**2 / 12

    def taken(self, chosen: NDArray) -> UniformBlocks:
        """Only some of the blocks."""
        columns = {name: getattr(self, name)[chosen] for name in ("index", "light", "residual", "h2")}
        return replace(self, **columns)


def read_uniform_blocks(shot: Shot, channel: str | None = None) -> UniformBlocks:
    """The uniform blocks of one channel of a shot, from rows spread over the frame.

    Parameters
    ----------
    shot : Shot
        Any shot with some smooth areas.
    channel : str, optional
        The channel; otherwise the reference channel.

    Returns
    -------
    UniformBlocks
        None of them where the shot has no smooth, unclipped area.
    """
    channel = channel or shot.reference
    parts, first = [], 0
    for part in shot.sublattices(channel):
        parts.append(_blocks(shot, part, first))
        first += part.samples.size // BLOCK**2 + 1
    index, light, residual, h2 = (np.concatenate(column) for column in zip(*parts, strict=True))
    black = float(min(shot.black[shot.indices(channel)]))
    blocks = UniformBlocks(index, light, residual, h2, shot.full_scale(channel), black, _step(shot))
    return blocks.taken(_is_uniform(residual))


def _blocks(shot: Shot, part: Sublattice, first: int) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Number, light, residual and h² of one sublattice's unclipped blocks, numbered from `first`."""
    down, across = (extent // BLOCK for extent in part.samples.shape)
    rows = evenly_chosen(down if across else 0, max(1, MOST_BLOCKS // max(across, 1)))
    stored = part.samples[(rows[:, None] * BLOCK + np.arange(BLOCK)).ravel(), : across * BLOCK]
    cut = stored.reshape(len(rows), BLOCK, across, BLOCK).swapaxes(1, 2).reshape(-1, BLOCK, BLOCK)
    row, column = (a.ravel() for a in np.meshgrid(rows, np.arange(across), indexing="ij"))
    kept = np.flatnonzero(cut.max(axis=(1, 2), initial=0) < shot.white)
    light = shot.light(cut[kept], part.colour_index).reshape(-1, BLOCK**2)
    residual = (light - (light @ _SHAPES) @ _SHAPES.T).reshape(-1, BLOCK, BLOCK)
    middle = np.stack([column, row], axis=1)[kept] * BLOCK + (BLOCK - 1) / 2
    away = middle * np.array(part.step) + np.array(part.first) - centre_of(shot.size)
    h2 = (np.square(away).sum(axis=1) / half_diagonal(shot.size) ** 2).astype(np.float32)
    return first + row[kept] * across + column[kept], light.mean(axis=1), residual, h2


def _is_uniform(residual: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which blocks vary over their width no more than between neighbours, or than most blocks do."""
    coarse, fine = _squares(residual)
    noisy = fine > 0
    usual = float(np.percentile(coarse[noisy] / fine[noisy], 25)) if noisy.any() else 0.0
    return coarse < max(UNEVEN, UNEVEN_BESIDE * usual) * fine


def _squares(residual: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Sums of the squared sums, and of the squared mixed differences, of each block's two by two samples."""
    rows = residual.reshape(-1, BLOCK // 2, 2, BLOCK)
    sums, differences = rows[:, :, 0] + rows[:, :, 1], rows[:, :, 0] - rows[:, :, 1]
    coarse, mixed = sums[..., ::2] + sums[..., 1::2], differences[..., ::2] - differences[..., 1::2]
    squares = tuple(np.einsum("nij,nij->n", quads, quads) / 4 for quads in (coarse, mixed))
    return squares[0], squares[1]


def _step(shot: Shot) -> float:
    """The greatest number that all differences of stored numbers are multiples of; 0 where none are whole."""
    if shot.samples.dtype.kind not in "ui":
        return 0.0
    some = np.unique(shot.samples[:: max(shot.samples.shape[0] // 16, 1)])
    return float(np.gcd.reduce(np.diff(some.astype(np.int64)))) if len(some) > 1 else 0.0


def paraboloid_shapes() -> NDArray[np.float64]:
    """Orthonormal shapes, as columns, that paraboloids over a block are sums of, shape (BLOCK², 6)."""
    row, column = (a.ravel() - (BLOCK - 1) / 2 for a in np.mgrid[:BLOCK, :BLOCK])
    shapes = np.stack([np.ones(BLOCK**2), row, column, row**2, row * column, column**2], axis=1)
    return np.linalg.qr(shapes)[0]


_SHAPES = paraboloid_shapes().astype(np.float32)
