"""Weighted sums of a flat's samples over cells, less what the smooth light makes them, in units of noise."""

from __future__ import annotations

from math import lcm

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX, cell_centres
from lensbench.analysers.dust._expected_light import SPLINES
from lensbench.analysers.numerics.b_splines import spline_basis
from lensbench.analysers.numerics.strips import STRIP_ROWS, each_strip, product_of_rows
from lensbench.analysers.numerics.surfaces import Surface
from lensbench.shot import Shot


def cell_kinds(flat: Shot) -> NDArray[np.int64]:
    """Colour indices of the samples in each kind of cell, shape (kinds down, kinds across, samples)."""
    if flat.pattern is None:
        every = np.tile(np.arange(len(flat.colours)), CELL_PX**2)
        return every[None, None, :]
    down, across = (lcm(length, CELL_PX) for length in flat.pattern.shape)
    tile = np.tile(flat.pattern, (down // flat.pattern.shape[0], across // flat.pattern.shape[1]))
    cells = tile.reshape(down // CELL_PX, CELL_PX, across // CELL_PX, CELL_PX).swapaxes(1, 2)
    return cells.reshape(down // CELL_PX, across // CELL_PX, -1).astype(np.int64)


def normalised_residual(
    flat: Shot, weights: NDArray, expected: list[Surface], inverse_noise: list[Surface], kinds: tuple[int, int]
) -> NDArray[np.float32]:
    """(expected − weighted sum) / noise of every cell.

    Parameters
    ----------
    flat : Shot
    weights : ndarray of float32, shape (colour indices,)
        Of a sample of each index, times its gain.
    expected, inverse_noise : list of Surface
        Weighted sum and one over its noise, for each kind of cell.
    kinds : (int, int)
        Kinds of cells down and across.

    Returns
    -------
    ndarray of float32, shape (height // CELL_PX, width // CELL_PX)
    """
    width, height = flat.size
    rows, columns = height // CELL_PX, width // CELL_PX
    z = np.empty((rows, columns), np.float32)
    x = cell_centres(columns)
    y = cell_centres(rows)
    row_weights = _row_weights(flat, weights)
    # A surface is a product of splines; what depends on x alone is computed once.
    along = [
        [along_x(s, x[i % kinds[1] :: kinds[1]]) for i, s in enumerate(group)]
        for group in (expected, inverse_noise)
    ]

    def strip(top: int) -> None:
        bottom = min(top + step, rows)
        sums = _cell_sums(flat, row_weights, top, bottom)
        for j in range(kinds[0]):
            down = spline_basis(y[top + j : bottom : kinds[0]], height, SPLINES[0]).astype(np.float32)
            for i in range(kinds[1]):
                number = j * kinds[1] + i
                part = np.s_[j :: kinds[0], i :: kinds[1]]
                expected_here, inverse_here = (product_of_rows(down, a[number], slice(None)) for a in along)
                z[top:bottom][part] = (expected_here - sums[part]) * inverse_here

    step = max(STRIP_ROWS // kinds[0], 1) * kinds[0]
    each_strip(strip, range(0, rows, step))
    return z


def along_x(surface: Surface, x: NDArray) -> NDArray[np.float32]:
    """The surface's splines down the frame, each at all x, shape (splines down, len(x))."""
    splines = surface.coefficients.shape[1]
    return (surface.coefficients @ spline_basis(x, surface.size[0], splines).T).astype(np.float32)


def _row_weights(flat: Shot, weights: NDArray) -> NDArray[np.float32]:
    """The weight of every sample in each row of the mosaic's repeat, shape (repeat, whole cells' width)."""
    width = flat.size[0] // CELL_PX * CELL_PX
    if flat.pattern is None:
        return weights[None, :]
    down = lcm(flat.pattern.shape[0], CELL_PX)
    tile = weights[flat.pattern]
    return np.ascontiguousarray(
        np.tile(tile, (down // tile.shape[0], -(-width // tile.shape[1])))[:, :width], np.float32
    )


def _cell_sums(flat: Shot, row_weights: NDArray, top: int, bottom: int) -> NDArray[np.float32]:
    """Weighted sums of the samples in the cells of rows `top` to `bottom`."""
    width = flat.size[0] // CELL_PX * CELL_PX
    stored = flat.samples[CELL_PX * top : CELL_PX * bottom, :width]
    if flat.pattern is None:
        weighted = stored.astype(np.float32) @ row_weights[0]
    else:
        weighted = stored.astype(np.float32)
        for phase in range(len(row_weights)):
            weighted[phase :: len(row_weights)] *= row_weights[phase]
    pairs = weighted[0::2] + weighted[1::2]
    return pairs[:, 0::2] + pairs[:, 1::2]
