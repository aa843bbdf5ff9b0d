"""Block means of the raw samples of an even flat: what falloff and dirt both begin with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot, Sublattice

BLOCK_PX = 32
"""About how wide a block is; rounded to a whole number of the mosaic's repeats."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """Means of one channel's light over a grid of blocks.

    Attributes
    ----------
    x, y : ndarray, shapes (across,) and (down,)
        The blocks' centres in pixels.
    light : ndarray, shape (down, across)
        Mean light above black, in stored units.
    clipped : ndarray, shape (down, across)
        The share of the samples that is clipped.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    light: NDArray[np.float64]
    clipped: NDArray[np.float64]


def block_means(shot: Shot, channel: str, block: int = BLOCK_PX) -> Blocks:
    """Average a channel over blocks, on strided views of the samples, without copies.

    Parameters
    ----------
    shot : Shot
        The flat.
    channel : str
        One of `shot.channels`.
    block : int
        About how wide a block is, in pixels.
    """
    return _average(shot, shot.sublattices(channel), block)


def index_block_means(shot: Shot, index: int, block: int = BLOCK_PX) -> Blocks:
    """Average one colour index (such as one of two greens) over blocks; else as `block_means`."""
    parts = (part for part in shot.sublattices(shot.colours[index]) if part.index == index)
    return _average(shot, parts, block)


def nearest_blocks(centres: NDArray, places: NDArray) -> NDArray[np.int64]:
    """Numbers of the blocks nearest to places along one axis, given the blocks' centres along it."""
    return np.searchsorted((centres[1:] + centres[:-1]) / 2, places)


def _average(shot: Shot, parts: Iterable[Sublattice], block: int) -> Blocks:
    width, height = shot.size
    across = _starts(width, _repeats(shot, 1, block))
    down = _starts(height, _repeats(shot, 0, block))
    shape = len(down), len(across)
    light, clipped, count = np.zeros(shape), np.zeros(shape), np.zeros(shape, np.int64)
    for samples, first, step, index in parts:
        columns = -((first[0] - across) // step[0])
        rows = np.append(-((first[1] - down) // step[1]), len(samples))
        widths = np.diff(np.append(columns, samples.shape[1]))
        for j in range(len(down)):
            band = samples[rows[j] : rows[j + 1]]
            number = widths * len(band)
            light[j] += (np.add.reduceat(_column_sums(band), columns) - number * shot.black[index]) * shot.gain[
                index
            ]
            count[j] += number
            if band.max() >= shot.white:
                clipped[j] += np.add.reduceat(np.count_nonzero(band >= shot.white, axis=0), columns)
    return Blocks(_middles(across, width), _middles(down, height), light / count, clipped / count)


def _repeats(shot: Shot, axis: int, block: int) -> int:
    """The block's size along an axis, as a whole number of the mosaic's repeats."""
    period = 1 if shot.pattern is None else shot.pattern.shape[axis]
    return period * max(round(block / period), 1)


def _starts(length: int, block: int) -> NDArray[np.int64]:
    """Where each block begins; a rest of less than half a block joins the last one."""
    return np.arange(max(round(length / block), 1)) * block


def _middles(starts: NDArray[np.int64], length: int) -> NDArray[np.float64]:
    return (starts + np.append(starts[1:], length) - 1) / 2


def _column_sums(band: NDArray) -> NDArray[np.float64]:
    exact = np.uint32 if band.dtype == np.uint16 else np.float64
    return np.add.reduce(band, axis=0, dtype=exact).astype(np.float64)
