"""A shot made smaller: the reference channel as means over square blocks, for a first look at what it shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot

LONG_SIDE = 1500
"""About how many blocks the longer side of the reduced picture has: chosen by experience, so that a leg of the
fine lattice's tiles is some 55 blocks long."""


def reduction_block(shot: Shot) -> int:
    """The side of the blocks in pixels: a whole number of the mosaic's repeats, or half of an even one.

    Parameters
    ----------
    shot : Shot
        Of any mosaic, or planes.

    Returns
    -------
    int
        Such that the longer side of the frame has about `LONG_SIDE` blocks.
    """
    repeat = 1 if shot.pattern is None else int(np.lcm(*shot.pattern.shape))
    wanted = max(shot.size) / LONG_SIDE / repeat
    if repeat == 6 and wanted < 0.75:
        # Every 3 × 3 of a six by six mosaic holds greens, lying evenly about its middle.
        return 3
    return repeat * max(round(wanted), 1)


def reduce_reference(shot: Shot, block: int) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Average the reference channel over blocks.

    Parameters
    ----------
    shot : Shot
    block : int
        Side of the blocks in pixels, from `reduction_block`.

    Returns
    -------
    light : ndarray of float32, shape (blocks down, blocks across)
        Mean light above black in stored units; 0 where a block holds no sample of the channel.
    offset : ndarray, shape (2,)
        The mean place (x, y) of the samples in the first block: that of block [i, j] lies at
        x = block * j + offset[0], y = block * i + offset[1].
    """
    down, across = max(shot.size[1] // block, 1), max(shot.size[0] // block, 1)
    total, count = np.zeros((down, across), np.float32), np.zeros((down, across), np.float32)
    places = []
    for samples, first, step, index in shot.sublattices(shot.reference):
        # Either several samples of a sublattice lie in each block, or one in every second block.
        inside = [max(block // s, 1) for s in step]
        apart = [max(s // block, 1) for s in step]
        start = [f // block for f in first]
        into = (slice(start[1], None, apart[1]), slice(start[0], None, apart[0]))
        rows, columns = total[into].shape
        part = samples[: rows * inside[1], : columns * inside[0]]
        rows, columns = part.shape[0] // inside[1], part.shape[1] // inside[0]
        part = part[: rows * inside[1], : columns * inside[0]].reshape(rows, inside[1], columns, inside[0])
        # Row by row of a block: numpy adds strided whole numbers fastest that way.
        sums = np.zeros((rows, columns), np.float32)
        for i in range(inside[1]):
            for j in range(inside[0]):
                sums += part[:, i, :, j]
        size = inside[0] * inside[1]
        light = (sums - size * np.float32(shot.black[index])) * np.float32(shot.gain[index])
        total[into][:rows, :columns] += light
        count[into][:rows, :columns] += size
        places += [[f % block + s * (i - 1) / 2 for f, s, i in zip(first, step, inside, strict=True)]]
    return np.nan_to_num(total / np.maximum(count, 1), posinf=0, neginf=0), np.mean(places, axis=0)
