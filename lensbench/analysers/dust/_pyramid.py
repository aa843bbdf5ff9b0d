"""The image pyramid of the residual: levels of coarser and coarser cells, updated where marks are subtracted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._boxes import Box, merged
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.numerics.rank_filters import median_filter
from lensbench.analysers.numerics.strips import STRIP_ROWS, each_strip, interpolation_matrix, product_of_rows

COARSEST_CELLS = 10
"""The coarsest level has at least this many cells along the frame's shorter side."""

BACKGROUND_CELL_PX, BACKGROUND_REACH = 64, 2
"""Cells whose running median is the background of small marks, and how many to each side it takes (chosen by
experience)."""

LARGEST_SUBTRACTED_PX = 16
"""Levels up to this cell size are background-subtracted; larger marks would be subtracted with it."""


@dataclass(frozen=True, eq=False)
class Level:
    """The residual binned to cells of `cell_px`, each in units of its own noise."""

    cell_px: int
    z: NDArray[np.float32]

    @property
    def offset(self) -> float:
        """Centre of the first cell in pixels."""
        return (self.cell_px - 1) / 2


def cells_in(level: Level, box: Box | None) -> tuple[slice, slice]:
    """Rows and columns of a level's cells in a box; of all where that is None."""
    return (box or Box(0, 0, np.inf, np.inf)).cells(level.cell_px, level.z.shape)


def nearest_cells(z: NDArray[np.float32], x: NDArray, y: NDArray) -> NDArray[np.float32]:
    """The cells nearest to positions in cells, shape of the positions; 0 outside the frame."""
    column, row = np.rint(x).astype(int), np.rint(y).astype(int)
    inside = (column >= 0) & (column < z.shape[1]) & (row >= 0) & (row < z.shape[0])
    return np.where(inside, z[np.where(inside, row, 0), np.where(inside, column, 0)], 0)


class Pyramid:
    """The residual at all levels, each with cells twice as wide as the one before.

    Parameters
    ----------
    z : ndarray of float32
        The finest level. It may be changed in place; `update` then recomputes the others.
    """

    def __init__(self, z: NDArray[np.float32]) -> None:
        self.levels = _levels(z)
        self._subtracted = [
            Level(level.cell_px, np.empty_like(level.z)) if level.cell_px <= LARGEST_SUBTRACTED_PX else level
            for level in self.levels
        ]
        self._background = np.zeros_like(self._background_level.z)
        self._changed = [self.whole]

    @property
    def finest(self) -> NDArray[np.float32]:
        """The finest level's cells."""
        return self.levels[0].z

    @property
    def background_subtracted(self) -> list[Level]:
        """The levels, the fine ones without the slowly varying background of small marks.

        Computed only now where something has changed since the last call.
        """
        for box in merged([box.grown((BACKGROUND_REACH + 1) * BACKGROUND_CELL_PX) for box in self._changed]):
            self._subtract_background(box)
        self._changed = []
        return self._subtracted

    @property
    def whole(self) -> Box:
        """All of the frame."""
        height, width = self.finest.shape
        return Box(0, 0, CELL_PX * width, CELL_PX * height)

    @property
    def _background_level(self) -> Level:
        return next((level for level in self.levels if level.cell_px == BACKGROUND_CELL_PX), self.levels[-1])

    def update(self, boxes: list[Box]) -> None:
        """Recompute the coarser levels where the finest was changed."""
        boxes = merged(boxes)
        for box in boxes:
            for finer, level in zip(self.levels, self.levels[1:], strict=False):
                _bin(finer.z, level.z, box.cells(level.cell_px, level.z.shape))
        self._changed += boxes

    def _subtract_background(self, box: Box) -> None:
        """Recompute the background-subtracted levels within a box."""
        coarse = self._background_level
        rows, columns = box.grown(BACKGROUND_CELL_PX).cells(coarse.cell_px, coarse.z.shape)
        self._background[rows, columns] = median_filter(coarse.z, BACKGROUND_REACH, rows, columns)
        for level, subtracted in zip(self.levels, self._subtracted, strict=True):
            if subtracted is level:
                break
            ratio = coarse.cell_px // level.cell_px
            rows, columns = box.cells(level.cell_px, level.z.shape)
            down = _interpolation(rows, coarse.z.shape[0], ratio)
            across = self._background @ _interpolation(columns, coarse.z.shape[1], ratio).T / np.float32(ratio)
            _subtract_into(subtracted.z[rows, columns], level.z[rows, columns], down, across)


def _levels(z: NDArray[np.float32]) -> list[Level]:
    levels = [Level(CELL_PX, z)]
    while min(levels[-1].z.shape) >= 2 * COARSEST_CELLS:
        last = levels[-1]
        level = Level(2 * last.cell_px, np.empty((last.z.shape[0] // 2, last.z.shape[1] // 2), np.float32))
        _bin(last.z, level.z, (slice(0, level.z.shape[0]), slice(0, level.z.shape[1])))
        levels.append(level)
    return levels


def _bin(fine: NDArray[np.float32], coarse: NDArray[np.float32], cells: tuple[slice, slice]) -> None:
    """Compute some cells of `coarse`, in place, from the four finer ones in each, in units of noise."""
    rows, columns = cells

    def strip(top: int) -> None:
        bottom = min(top + STRIP_ROWS, rows.stop)
        part = fine[2 * top : 2 * bottom, 2 * columns.start : 2 * columns.stop]
        pairs = part[0::2] + part[1::2]
        # Four cells of noise 1 sum to noise 2.
        coarse[top:bottom, columns] = (pairs[:, 0::2] + pairs[:, 1::2]) / 2

    each_strip(strip, range(rows.start, rows.stop, STRIP_ROWS))


def _subtract_into(
    out: NDArray[np.float32], z: NDArray[np.float32], down: NDArray[np.float32], across: NDArray[np.float32]
) -> None:
    """Write z less ``down @ across`` to `out`."""

    def strip(top: int) -> None:
        rows = slice(top, top + STRIP_ROWS)
        np.subtract(z[rows], product_of_rows(down, across, rows), out=out[rows])

    each_strip(strip, range(0, len(z), STRIP_ROWS))


def _interpolation(fine: slice, coarse: int, ratio: int) -> NDArray[np.float32]:
    """Weights of linear interpolation from all coarse cells to some fine ones, shape (fine, coarse)."""
    centres = np.arange(fine.start, fine.stop) + 0.5
    return interpolation_matrix(np.clip(centres / ratio - 0.5, 0, coarse - 1), coarse)
