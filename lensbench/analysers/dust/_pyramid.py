"""The grey picture on coarser and coarser grids, kept up to date where marks are taken out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.numerics.rank_filters import median_filter
from lensbench.analysers.numerics.strips import STRIP_ROWS, each_strip, interpolation_matrix, product_of_rows

COARSEST_CELLS = 10
"""The coarsest grid has at least this many cells along the frame's shorter side."""

GROUND_CELL_PX, GROUND_REACH = 64, 2
"""Cells from which the ground under small marks is taken, and how many to each side."""

LARGEST_GROUNDED_PX = 16
"""Grids up to this cell size are freed of the ground; larger marks would go with it."""


class Box(NamedTuple):
    """A part of the frame in pixels: left ≤ x < right, top ≤ y < bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def holds(self, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
        """Which of the places lie in it."""
        return (x >= self.left) & (x < self.right) & (y >= self.top) & (y < self.bottom)

    def meets(self, other: Box) -> bool:
        """Whether the two overlap."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def with_(self, other: Box) -> Box:
        """The smallest box around both."""
        low = min(self.left, other.left), min(self.top, other.top)
        return Box(*low, max(self.right, other.right), max(self.bottom, other.bottom))

    def grown(self, by: float) -> Box:
        """The box, larger by `by` on every side."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def cells(self, cell_px: int, shape: tuple[int, ...]) -> tuple[slice, slice]:
        """Rows and columns of the cells that it touches (one at least) on a grid of some shape."""
        spans = []
        for low, high, count in ((self.top, self.bottom, shape[0]), (self.left, self.right, shape[1])):
            first = int(np.clip(np.floor(low / cell_px), 0, count - 1))
            spans.append(slice(first, int(np.clip(np.ceil(high / cell_px), first + 1, count))))
        return spans[0], spans[1]


def in_any(boxes: list[Box], x: NDArray, y: NDArray) -> NDArray[np.bool_]:
    """Which places lie in one of the boxes."""
    return np.any([box.holds(x, y) for box in boxes], axis=0) if boxes else np.zeros(x.shape, bool)


def joined(boxes: list[Box]) -> list[Box]:
    """The boxes, those that overlap joined to larger ones."""
    left: list[Box] = []
    for box in boxes:
        while (other := next((b for b in left if b.meets(box)), None)) is not None:
            left.remove(other)
            box = box.with_(other)
        left.append(box)
    return left


def apart(numbers: list[int], boxes: list[Box]) -> list[list[int]]:
    """The numbers of boxes in groups within which no two boxes overlap."""
    groups: list[list[int]] = []
    for number in numbers:
        free = [g for g in groups if not any(boxes[number].meets(boxes[other]) for other in g)]
        if free:
            free[0].append(number)
        else:
            groups.append([number])
    return groups


@dataclass(frozen=True, eq=False)
class Level:
    """The grey picture binned to cells of `cell_px`, each in units of its noise."""

    cell_px: int
    z: NDArray[np.float32]

    @property
    def offset(self) -> float:
        """Pixel coordinate of the first cell's middle."""
        return (self.cell_px - 1) / 2


def cells_in(level: Level, box: Box | None) -> tuple[slice, slice]:
    """Rows and columns of a level's cells in a box; of all where that is None."""
    return (box or Box(0, 0, np.inf, np.inf)).cells(level.cell_px, level.z.shape)


class Grids:
    """The grey picture and its halvings, down to the coarsest grid; the fine ones also without the ground.

    Attributes
    ----------
    levels : list of Level
        As they are; the first may be changed, and `renew` then carries the change on.
    """

    def __init__(self, z: NDArray[np.float32]) -> None:
        self.levels = _halvings(z)
        self._grounded = [
            Level(level.cell_px, np.empty_like(level.z)) if level.cell_px <= LARGEST_GROUNDED_PX else level
            for level in self.levels
        ]
        self._ground = np.zeros_like(self._coarse.z)
        self._changed = [self.whole]

    @property
    def left(self) -> NDArray[np.float32]:
        """The finest grid: what is left of the picture."""
        return self.levels[0].z

    @property
    def grounded(self) -> list[Level]:
        """The grids, the fine ones without the slowly changing ground under small marks.

        What has changed since they were last asked for is renewed only now.
        """
        for box in joined([box.grown((GROUND_REACH + 1) * GROUND_CELL_PX) for box in self._changed]):
            self._take_off_ground(box)
        self._changed = []
        return self._grounded

    @property
    def whole(self) -> Box:
        """All of the frame."""
        height, width = self.left.shape
        return Box(0, 0, CELL_PX * width, CELL_PX * height)

    @property
    def _coarse(self) -> Level:
        return next((level for level in self.levels if level.cell_px == GROUND_CELL_PX), self.levels[-1])

    def renew(self, boxes: list[Box]) -> None:
        """Bin anew where the finest grid was changed."""
        boxes = joined(boxes)
        for box in boxes:
            for finer, level in zip(self.levels, self.levels[1:], strict=False):
                _bin(finer.z, level.z, box.cells(level.cell_px, level.z.shape))
        self._changed += boxes

    def _take_off_ground(self, box: Box) -> None:
        """Renew the grounded fine grids within a box."""
        coarse = self._coarse
        rows, columns = box.grown(GROUND_CELL_PX).cells(coarse.cell_px, coarse.z.shape)
        self._ground[rows, columns] = median_filter(coarse.z, GROUND_REACH, rows, columns)
        for level, grounded in zip(self.levels, self._grounded, strict=True):
            if grounded is level:
                break
            ratio = coarse.cell_px // level.cell_px
            rows, columns = box.cells(level.cell_px, level.z.shape)
            down = _between(rows, coarse.z.shape[0], ratio)
            across = self._ground @ _between(columns, coarse.z.shape[1], ratio).T / ratio
            _without_ground(level.z[rows, columns], down, across, grounded.z[rows, columns])


def _halvings(z: NDArray[np.float32]) -> list[Level]:
    levels = [Level(CELL_PX, z)]
    while min(levels[-1].z.shape) >= 2 * COARSEST_CELLS:
        last = levels[-1]
        level = Level(2 * last.cell_px, np.empty((last.z.shape[0] // 2, last.z.shape[1] // 2), np.float32))
        _bin(last.z, level.z, (slice(0, level.z.shape[0]), slice(0, level.z.shape[1])))
        levels.append(level)
    return levels


def _bin(fine: NDArray[np.float32], coarse: NDArray[np.float32], cells: tuple[slice, slice]) -> None:
    """Renew some cells of a grid from the four finer ones in each, in units of noise."""
    rows, columns = cells

    def strip(top: int) -> None:
        bottom = min(top + STRIP_ROWS, rows.stop)
        part = fine[2 * top : 2 * bottom, 2 * columns.start : 2 * columns.stop]
        pairs = part[0::2] + part[1::2]
        coarse[top:bottom, columns] = (pairs[:, 0::2] + pairs[:, 1::2]) / 2

    each_strip(strip, range(rows.start, rows.stop, STRIP_ROWS))


def _without_ground(
    z: NDArray[np.float32], down: NDArray[np.float32], across: NDArray[np.float32], out: NDArray[np.float32]
) -> None:
    """Write z less the ground, which is `down @ across`, to `out`."""

    def strip(top: int) -> None:
        rows = slice(top, top + STRIP_ROWS)
        np.subtract(z[rows], product_of_rows(down, across, rows), out=out[rows])

    each_strip(strip, range(0, len(z), STRIP_ROWS))


def _between(fine: slice, coarse: int, ratio: int) -> NDArray[np.float32]:
    """Weights of linear interpolation from coarse cells to some fine ones, shape (fine, coarse)."""
    middles = np.arange(fine.start, fine.stop) + 0.5
    return interpolation_matrix(np.clip(middles / ratio - 0.5, 0, coarse - 1), coarse)
