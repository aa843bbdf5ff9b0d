"""Windows around marks: the cells, or single pixels, that a shape is fitted to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._pyramid import Level
from lensbench.analysers.dust._residual import Residual

REACH_CELLS = 10
"""Half-width of the windows: the filter that found the mark has a standard deviation of 1 to 2 cells."""

OUTLYING_PIXEL = 60
"""Pixels that deviate from the window's median by more than this, in units of noise, are defective."""


@dataclass(frozen=True, eq=False)
class Windows:
    """Windows of one shape around positions.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        Their positions in pixels.
    z : ndarray, shape (n, cells)
        Residual in units of noise.
    u, v : ndarray, shape (n, cells)
        Position of each cell relative to x, y, in cells.
    weight : ndarray, shape (n, cells)
        0 beyond the frame and where nothing could be measured.
    cell_px : ndarray, shape (n,)
        Cell size in pixels.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    u: NDArray[np.float64]
    v: NDArray[np.float64]
    weight: NDArray[np.float64]
    cell_px: NDArray[np.float64]

    def chosen(self, which: NDArray) -> Windows:
        """The windows of an index."""
        return Windows(*(getattr(self, field.name)[which] for field in fields(self)))


def windows_around(
    residual: Residual,
    levels: list[Level],
    numbers: NDArray,
    x: NDArray,
    y: NDArray,
    found: Sequence[Blob | Fibre] = (),
) -> Windows:
    """A window around each position, on the level of its number.

    Parameters
    ----------
    residual : Residual
        For windows of single pixels.
    levels : list of Level
    numbers : ndarray of int, shape (n,)
        Which level; -1 is single pixels.
    x, y : ndarray, shape (n,)
        In pixels.
    found : sequence of Blob and Fibre
        Subtracted from the levels; from single pixels they are here.

    Returns
    -------
    Windows
    """
    order = np.argsort(numbers, kind="stable")
    parts = []
    for number in np.unique(numbers):
        own = numbers == number
        at = x[own], y[own]
        parts.append(_pixels(residual, *at, found) if number < 0 else _cells(levels[number], *at))
    merged = Windows(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Windows)))
    return merged.chosen(np.argsort(order))


def _window_cells(x: NDArray, y: NDArray, cell: int, offset: float) -> tuple[NDArray, NDArray]:
    """Rows and columns of the cells around each position, shape (n, cells)."""
    steps = np.arange(-REACH_CELLS, REACH_CELLS + 1)
    rows = np.rint((y - offset) / cell).astype(int)[:, None] + np.repeat(steps, len(steps))
    columns = np.rint((x - offset) / cell).astype(int)[:, None] + np.tile(steps, len(steps))
    return rows, columns


def _cells(level: Level, x: NDArray, y: NDArray) -> Windows:
    cell, offset = level.cell_px, level.offset
    rows, columns = _window_cells(x, y, cell, offset)
    height, width = level.z.shape
    good = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    z = level.z[np.clip(rows, 0, height - 1), np.clip(columns, 0, width - 1)].astype(np.float64)
    u = columns + (offset - x[:, None]) / cell
    v = rows + (offset - y[:, None]) / cell
    return Windows(x, y, z, u, v, (good & (z != 0)).astype(np.float64), np.full(len(x), float(cell)))


def _pixels(residual: Residual, x: NDArray, y: NDArray, found: Sequence[Blob | Fibre]) -> Windows:
    """Windows of single pixels, without the defective ones and the marks found before."""
    rows, columns = _window_cells(x, y, 1, 0.0)
    width, height = residual.size
    good = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    depth, noise = residual.pixels(np.clip(columns, 0, width - 1), np.clip(rows, 0, height - 1))
    for k, window in enumerate(Box(a, b, a, b).grown(REACH_CELLS) for a, b in zip(x, y, strict=True)):
        for mark in found:
            if mark.box.overlaps(window):
                depth[k] -= mark.depth.value / 100 * mark.shares(columns[k], rows[k])
    strength = residual.strength_at(x, y)[:, None] / 2
    z = depth * strength
    # Each pixel is weighted by its own noise, relative to that of an average one.
    weight = 1 / np.maximum(noise * strength, 1e-9) ** 2
    defective = np.abs(z - np.median(z, axis=1, keepdims=True)) > OUTLYING_PIXEL
    return Windows(x, y, z, columns - x[:, None], rows - y[:, None], weight * good * ~defective, np.ones(len(x)))
