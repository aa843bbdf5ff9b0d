"""Means of a flat's raw samples over blocks: the first step of both falloff and dirt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot

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
    """Average a channel over blocks, without copies of the samples.

    Parameters
    ----------
    shot : Shot
        The flat.
    channel : str
        One of `shot.channels`.
    block : int
        About how wide a block is, in pixels.

    Returns
    -------
    Blocks
    """
    return _averages(shot, [shot.indices(channel)], block)[0]


def index_block_means(shot: Shot, indices: list[int], block: int = BLOCK_PX) -> list[Blocks]:
    """Average each of some colour indices (such as each of two greens) over blocks.

    Parameters
    ----------
    shot : Shot
        The flat.
    indices : list of int
        Of the mosaic's colours, or of planes.
    block : int
        About how wide a block is, in pixels.

    Returns
    -------
    list of Blocks
        One for each index.
    """
    return _averages(shot, [[index] for index in indices], block)


def nearest_blocks(centres: NDArray, positions: NDArray | float) -> NDArray[np.int64]:
    """The blocks that hold positions along one axis, or are nearest to them.

    Parameters
    ----------
    centres : ndarray
        Of the blocks along that axis, in pixels.
    positions : ndarray
        In pixels.

    Returns
    -------
    ndarray of int, shape of positions
    """
    return np.searchsorted(_first_borders(centres)[1:], positions, side="right")


def block_borders(centres: NDArray, length: int) -> NDArray[np.float64]:
    """Where blocks begin and end along one axis of the frame; the last one extends to its border.

    Parameters
    ----------
    centres : ndarray, shape (blocks,)
        In pixels.
    length : int
        Pixels of that axis.

    Returns
    -------
    ndarray, shape (blocks + 1,)
        In pixels.
    """
    return np.append(_first_borders(centres), length - 0.5)


def _first_borders(centres: NDArray) -> NDArray[np.float64]:
    return np.arange(len(centres)) * (2 * centres[0] + 1) - 0.5


class _RowSamples(NamedTuple):
    """The samples of one colour index in a row: their group, their mask, how many lie in each block."""

    group: int
    colour_index: int
    mask: NDArray[np.bool_]
    samples: NDArray[np.int64]


def _averages(shot: Shot, groups: list[list[int]], block: int) -> list[Blocks]:
    """Block means of groups of colour indices, all in one pass: whole rows are the quickest to read."""
    width, height = shot.size
    across = _starts(width, _repeats(shot, 1, block))
    down = _starts(height, _repeats(shot, 0, block))
    # Planes are stored like a mosaic that repeats in every pixel.
    pattern = np.arange(len(shot.colours))[None] if shot.pattern is None else shot.pattern
    stored = shot.samples.reshape(height, -1)
    starts = across * (stored.shape[1] // width)
    light, clipped, count = np.zeros((3, len(groups), len(down), len(across)))
    bottoms = np.append(down[1:], height)
    for phase, indices in enumerate(pattern):
        row = np.resize(indices, stored.shape[1])
        parts = _row_samples(row, groups, starts)
        if not parts:
            continue
        for number, (top, bottom) in enumerate(zip(down, bottoms, strict=True)):
            band = stored[top + phase : bottom : len(pattern)]
            sums = _column_sums(band)
            clips = np.count_nonzero(band >= shot.white, axis=0) if band.max() >= shot.white else 0 * row
            for group, index, mask, samples in parts:
                dark = len(band) * samples * shot.black[index]
                light[group, number] += (np.add.reduceat(sums * mask, starts) - dark) * shot.gain[index]
                clipped[group, number] += np.add.reduceat(clips * mask, starts)
                count[group, number] += len(band) * samples
    x, y = _middles(across, width), _middles(down, height)
    return [Blocks(x, y, *means) for means in zip(light / count, clipped / count, strict=True)]


def _row_samples(row: NDArray, groups: list[list[int]], starts: NDArray[np.int64]) -> list[_RowSamples]:
    """The samples of a row of colour indices, by group and index; only those that it has."""
    own = [(group, index, row == index) for group, members in enumerate(groups) for index in members]
    return [
        _RowSamples(*part, np.add.reduceat(part[-1], starts, dtype=np.int64)) for part in own if part[-1].any()
    ]


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
