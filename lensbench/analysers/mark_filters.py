"""Where round marks may be: matched filters on the grey picture at every size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import CELL_PX, STRIP_CELLS, each_strip

COARSEST_CELLS = 10
"""The coarsest grid has at least this many cells along the frame's shorter side."""

GROUND_CELL_PX = 64
"""Cells from which the ground under small marks is taken."""

LARGEST_GROUNDED_PX = 16
"""Grids up to this cell size are freed of the ground; larger marks would go with it."""


class Peaks(NamedTuple):
    """Places where a matched filter answers.

    Pixels, signal to noise (darker positive), and the filter's standard deviation in pixels; each of shape (n,).
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    signal: NDArray[np.float64]
    sigma: NDArray[np.float64]

    def chosen(self, which: NDArray) -> Peaks:
        """The peaks of an index or mask."""
        return Peaks(*(column[which] for column in self))


@dataclass(frozen=True, eq=False)
class Level:
    """The grey picture binned to cells of `cell_px`, each in units of its noise."""

    cell_px: int
    z: NDArray[np.float32]

    @property
    def offset(self) -> float:
        """Pixel coordinate of the first cell's middle."""
        return (self.cell_px - 1) / 2


def halvings(z: NDArray[np.float32]) -> list[Level]:
    """The grey picture and its halvings, down to the coarsest grid."""
    levels = [Level(CELL_PX, z)]
    while min(levels[-1].z.shape) >= 2 * COARSEST_CELLS:
        last = levels[-1]
        rows, columns = (length // 2 * 2 for length in last.z.shape)
        pairs = last.z[0:rows:2, :columns] + last.z[1:rows:2, :columns]
        levels.append(Level(2 * last.cell_px, (pairs[:, 0::2] + pairs[:, 1::2]) / 2))
    return levels


def ground_of(levels: list[Level]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The slowly changing ground under small marks, in base cells, as a product (rows, k) @ (k, columns)."""
    base = levels[0]
    coarse = next((level for level in levels if level.cell_px == GROUND_CELL_PX), levels[-1])
    ratio = coarse.cell_px // base.cell_px
    ground = _median_of_neighbours(coarse.z) / ratio
    down = _between(base.z.shape[0], ground.shape[0], ratio)
    across = _between(base.z.shape[1], ground.shape[1], ratio)
    return down, ground @ across.T


def _median_of_neighbours(z: NDArray, reach: int = 2) -> NDArray:
    padded = np.pad(z, reach, mode="symmetric")
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * reach + 1, 2 * reach + 1))
    return np.median(windows.reshape(*z.shape, -1), axis=-1).astype(np.float32)


def _between(fine: int, coarse: int, ratio: int) -> NDArray[np.float32]:
    """Weights of linear interpolation from coarse cells to fine ones, shape (fine, coarse)."""
    place = np.clip((np.arange(fine) + 0.5) / ratio - 0.5, 0, coarse - 1)
    low = np.minimum(place.astype(int), max(coarse - 2, 0))
    weights = np.zeros((fine, coarse), np.float32)
    weights[np.arange(fine), low] = 1 - (place - low)
    weights[np.arange(fine), np.minimum(low + 1, coarse - 1)] += place - low
    return weights


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


def find_peaks(levels: list[Level], threshold: float, box: Box | None = None) -> Peaks:
    """Peaks of all filters at all sizes past a threshold of signal to noise.

    Parameters
    ----------
    levels : list of Level
        From `halvings`.
    threshold : float
        Least signal to noise.
    box : Box
        Where to look; the whole frame unless given.
    """
    found = [_peaks(level, threshold, box) for level in levels]
    return Peaks(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _peaks(level: Level, threshold: float, box: Box | None) -> Peaks:
    """Peaks of one grid's two filters, of standard deviations 0.71 and 1 cell."""
    parts = []
    rows, columns = cells_in(level, box)

    def strip(top: int) -> None:
        z = _with_border(level.z, slice(top, min(top + STRIP_CELLS, rows.stop)), columns)
        narrow = _twice_averaged(z)
        wide = _twice_averaged(narrow)
        # The root of the sum of squared weights is the answer's noise.
        for answer, noise, sigma, border in ((narrow, 6, np.sqrt(0.5), 2), (wide, 70, 1.0, 1)):
            row, column = _maxima(answer, threshold * noise, border)
            signal = answer[row, column] / noise
            parts.append((row - border + top, column - border + columns.start, signal, np.full(len(row), sigma)))

    each_strip(strip, range(rows.start, rows.stop, STRIP_CELLS))
    row, column, signal, sigma = (np.concatenate(part) for part in zip(*parts, strict=True))
    cell = level.cell_px
    return Peaks(column * cell + level.offset, row * cell + level.offset, signal.astype(float), sigma * cell)


def cells_in(level: Level, box: Box | None) -> tuple[slice, slice]:
    """Rows and columns of the cells in a box (one at least)."""
    height, width = level.z.shape
    if box is None:
        return slice(0, height), slice(0, width)
    spans = []
    for low, high, count in ((box.top, box.bottom, height), (box.left, box.right, width)):
        first = int(np.clip((low - level.offset) // level.cell_px, 0, count - 1))
        spans.append(slice(first, int(np.clip((high - level.offset) // level.cell_px + 1, first + 1, count))))
    return spans[0], spans[1]


BORDER = 3
"""Cells around a strip that the filters and the search for maxima need."""


def _with_border(z: NDArray[np.float32], rows: slice, columns: slice) -> NDArray[np.float32]:
    """A part of z with `BORDER` more cells on each side; nothing lies beyond the frame."""
    top, left = max(rows.start - BORDER, 0), max(columns.start - BORDER, 0)
    bottom, right = min(rows.stop + BORDER, z.shape[0]), min(columns.stop + BORDER, z.shape[1])
    missing = (
        (BORDER - (rows.start - top), BORDER - (bottom - rows.stop)),
        (BORDER - (columns.start - left), BORDER - (right - columns.stop)),
    )
    part = z[top:bottom, left:right]
    return np.pad(part, missing) if np.any(missing) else part


def _twice_averaged(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """Sums with weights 1 2 1 both ways, without the outermost cells."""
    for _ in range(2):
        z = z[1:] + z[:-1]
    for _ in range(2):
        z = z[:, 1:] + z[:, :-1]
    return z


def _maxima(answer: NDArray[np.float32], threshold: float, border: int) -> tuple[NDArray, NDArray]:
    """Rows and columns past the threshold, dark or bright, that no neighbour surpasses, off the border."""
    inner = answer[border:-border, border:-border]
    rows, columns = np.divmod(np.flatnonzero(np.abs(inner) > threshold), inner.shape[1])
    rows, columns = rows + border, columns + border
    own = answer[rows, columns]
    peak = np.ones(len(rows), bool)
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            peak &= answer[rows + down, columns + across] * np.sign(own) <= np.abs(own)
    return rows[peak], columns[peak]
