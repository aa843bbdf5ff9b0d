"""The cells of the residual, two by two pixels each, and the blocks that they lie in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.flat_light import nearest_blocks
from lensbench.analysers.numerics.strips import each_strip

CELL_PX = 2
"""Pixels to a cell, each way."""


def cell_centres(count: int) -> NDArray[np.float64]:
    """Centres of the first cells along one axis, in pixels."""
    return CELL_PX * np.arange(count, dtype=np.float64) + (CELL_PX - 1) / 2


def block_means_of_cells(z: NDArray[np.float32], x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Means of the cells nearest to each block's centre, shape (len(y), len(x))."""
    columns, rows = (np.append(0, np.ceil((v[1:] + v[:-1]) / 2 / CELL_PX)).astype(int) for v in (x, y))
    rows = np.append(rows, z.shape[0])
    sums = np.empty((len(y), len(x)))

    def block_row(number: int) -> None:
        sums[number] = np.add.reduceat(z[rows[number] : rows[number + 1]].sum(axis=0), columns)

    each_strip(block_row, range(len(y)))
    return sums / np.outer(np.diff(rows), np.diff(np.append(columns, z.shape[1])))


def zero_unreadable(z: NDArray[np.float32], readable: NDArray[np.bool_], x: NDArray, y: NDArray) -> None:
    """Set the cells of unreadable blocks to 0, in place; `readable` is of shape (len(y), len(x))."""
    columns, rows = (nearest_blocks(v, CELL_PX * np.arange(n)) for v, n in zip((x, y), z.shape[::-1], strict=True))
    for number in np.flatnonzero(~readable.all(axis=1)):
        first, last = np.searchsorted(rows, [number, number + 1])
        z[first:last] *= readable[number, columns]
