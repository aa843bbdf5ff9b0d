"""A flat as one grey picture in units of its own noise: all colours' samples joined, the smooth light taken off.

Dirt's shadows are grey, so every sample tells about them, whatever its colour. Each is weighed by its own signal
to noise, two by two pixels make a cell, and the cell's departure from the smooth light is divided by its noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import lcm

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._border_light import level_border
from lensbench.analysers.dust._cells import CELL_PX, blank, block_means_of_cells, cell_middles
from lensbench.analysers.dust._defective_pixels import take_out_defects
from lensbench.analysers.dust._expected_light import (
    LEAST_SCATTER,
    SPLINES,
    IndexLight,
    departures,
    smooth_light,
    weights,
)
from lensbench.analysers.flat_light import fit_round, nearest_blocks, robust_round_weights, round_basis
from lensbench.analysers.numerics.b_splines import spline_basis
from lensbench.analysers.numerics.strips import STRIP_ROWS, each_strip, product_of_rows, subtract_product
from lensbench.analysers.numerics.surfaces import Surface, nodes, surface_through
from lensbench.shot import Shot

LARGEST, HANGS_TOGETHER = 8, 1.5
"""Cells to the side of the largest ones whose noise is looked at, and by how much that must be more than its part:
less may come of marks, or of how few of them there are."""


@dataclass(frozen=True, eq=False)
class GreyPicture:
    """Departures from the smooth light, darker positive, in units of the noise.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    z : ndarray of float32, shape (height // 2, width // 2)
        Departure of each cell of `CELL_PX` × `CELL_PX` pixels over its noise; 0 where the light can't be read.
    strength : Surface
        Signal to noise of a whole cell's light: a shadow of relative depth d gives z = d × strength.
    block_x, block_y : ndarray
        Middles of the blocks on which the smooth light was fitted, in pixels.
    readable, levelled : ndarray of bool
        Which of them can be read, and in which the light was levelled as it came.
    rounding : float
        The share of the light under which departures may come of how the numbers were rounded.
    flat : Shot
        The flat itself.
    lights : dict of int to IndexLight
        What each colour index should show.
    """

    size: tuple[int, int]
    z: NDArray[np.float32]
    strength: Surface
    block_x: NDArray[np.float64]
    block_y: NDArray[np.float64]
    readable: NDArray[np.bool_]
    levelled: NDArray[np.bool_]
    rounding: float
    flat: Shot
    lights: dict[int, IndexLight]

    @cached_property
    def round_bases(self) -> tuple[NDArray, NDArray]:
        """What round light is made of, on the blocks and on the nodes of smooth surfaces."""
        node_places = nodes(self.size, SPLINES)
        return round_basis(self.block_x, self.block_y, self.size), round_basis(*node_places, self.size)

    def levelled_at(self, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
        """Whether the light at places in pixels was levelled as it came."""
        return self.levelled[nearest_blocks(self.block_y, y), nearest_blocks(self.block_x, x)]

    def strength_at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Signal to noise of a whole cell's light at places in pixels (or the nearest in the frame)."""
        x, y = np.broadcast_arrays(np.clip(x, 0, self.size[0] - 1), np.clip(y, 0, self.size[1] - 1))
        return self.strength.at(x.ravel(), y.ravel()).reshape(x.shape)

    def pixels(self, x: NDArray[np.int64], y: NDArray[np.int64]) -> tuple[NDArray, NDArray]:
        """How much darker than the smooth light single pixels are, as a share of it, and the noise of that."""
        shape = x.shape
        depth, noise = np.zeros(x.size), np.zeros(x.size)
        planes = 1 if self.flat.pattern is not None else len(self.flat.colours)
        for plane in range(planes):
            share, spread = departures(self.flat, self.lights, x.ravel(), y.ravel(), plane)
            depth -= share / planes
            noise += (spread / planes) ** 2
        return depth.reshape(shape), np.sqrt(noise).reshape(shape)


def grey_picture(flat: Shot) -> GreyPicture:
    """Join all samples of a flat to its grey picture.

    Parameters
    ----------
    flat : Shot
        An even light through the lens.
    """
    light = smooth_light(flat)
    lights, x, y, readable = light.by_index, light.x, light.y, light.readable
    kinds = _cell_kinds(flat)
    expected, inverse, strengths = [], [], []
    for indices in kinds.reshape(-1, kinds.shape[-1]):
        parts = [lights[i] for i in indices]
        noise = np.sqrt(sum(part.weight**2 * part.variance for part in parts))
        signal = sum(part.weight * part.light for part in parts)
        black = sum(lights[i].weight * flat.gain[i] * flat.black[i] for i in indices)
        coefficients = sum(part.weight * part.surface.coefficients for part in parts)
        expected.append(Surface(flat.size, coefficients + black))
        inverse.append(surface_through(1 / noise, flat.size, SPLINES))
        strengths.append(signal / noise)
    strength = np.sqrt(np.mean(np.square(strengths), axis=0))
    scale = (weights(flat, lights) * flat.gain).astype(np.float32)
    z = _whitened(flat, scale, expected, inverse, kinds.shape[:2])
    blank(z, readable, x, y)
    take_out_defects(z, flat, lights, inverse, kinds.shape[:2])
    spread = _spread(z, kinds.shape[1])
    z /= np.float32(spread)
    strength = surface_through(strength / spread, flat.size, SPLINES)
    levelled, steep = level_border(z, strength, x, y)
    readable &= ~steep
    blank(z, readable, x, y)
    return GreyPicture(flat.size, z, strength, x, y, readable, levelled, light.rounding, flat, lights)


def _spread(z: NDArray[np.float32], step: int) -> float:
    """The noise of the cells between like neighbours, where it is more than the noise model says; else 1.

    Where noise hangs together, as in developed pictures, that of larger cells is more than their samples' noise
    gives: there the most of it counts.
    """
    own = _scatter(z[::7], step)
    rows = z[: len(z) // (8 * LARGEST) * 8 * LARGEST].reshape(-1, 8, LARGEST, z.shape[1])[:, 0]
    larger = []
    for _ in range(int(np.log2(LARGEST))):
        pairs = rows[:, 0::2] + rows[:, 1::2]
        even = pairs.shape[-1] // 2 * 2
        rows = (pairs[..., 0:even:2] + pairs[..., 1:even:2]) / 2
        larger.append(_scatter(rows, 1))
    most = max(larger, default=own)
    return max(most if most > HANGS_TOGETHER * own else own, 1.0)


def _scatter(z: NDArray[np.float32], step: int) -> float:
    """Standard deviation of cells by their differences to neighbours `step` further on; marks don't count."""
    apart = (z[..., step:] - z[..., :-step]).ravel()
    apart = apart[apart != 0]
    return 1.4826 * float(np.median(np.abs(apart))) / np.sqrt(2) if apart.size else 0.0


def _cell_kinds(flat: Shot) -> NDArray[np.int64]:
    """Colour indices of the samples in each kind of cell, shape (kinds down, kinds across, samples)."""
    if flat.pattern is None:
        every = np.tile(np.arange(len(flat.colours)), CELL_PX**2)
        return every[None, None, :]
    down, across = (lcm(length, CELL_PX) for length in flat.pattern.shape)
    tile = np.tile(flat.pattern, (down // flat.pattern.shape[0], across // flat.pattern.shape[1]))
    cells = tile.reshape(down // CELL_PX, CELL_PX, across // CELL_PX, CELL_PX).swapaxes(1, 2)
    return cells.reshape(down // CELL_PX, across // CELL_PX, -1).astype(np.int64)


def _whitened(
    flat: Shot, scale: NDArray, expected: list[Surface], inverse: list[Surface], kinds: tuple[int, int]
) -> NDArray[np.float32]:
    """(expected − weighted sum) / noise of every cell, with one surface of each for each kind of cell."""
    width, height = flat.size
    rows, columns = height // CELL_PX, width // CELL_PX
    z = np.empty((rows, columns), np.float32)
    x = cell_middles(columns)
    y = cell_middles(rows)
    tile = _weight_rows(flat, scale)
    # A surface is a product of splines; what depends on x alone is worked out once.
    along = [
        [(_along_x(s, x[i % kinds[1] :: kinds[1]])) for i, s in enumerate(group)] for group in (expected, inverse)
    ]

    def strip(top: int) -> None:
        bottom = min(top + step, rows)
        sums = _cell_sums(flat, tile, top, bottom)
        for j in range(kinds[0]):
            down = spline_basis(y[top + j : bottom : kinds[0]], height, SPLINES[0]).astype(np.float32)
            for i in range(kinds[1]):
                number = j * kinds[1] + i
                part = np.s_[j :: kinds[0], i :: kinds[1]]
                expected_there, inverse_there = (product_of_rows(down, a[number], slice(None)) for a in along)
                z[top:bottom][part] = (expected_there - sums[part]) * inverse_there

    step = max(STRIP_ROWS // kinds[0], 1) * kinds[0]
    each_strip(strip, range(0, rows, step))
    return z


def _along_x(surface: Surface, x: NDArray) -> NDArray[np.float32]:
    splines = surface.coefficients.shape[1]
    return (surface.coefficients @ spline_basis(x, surface.size[0], splines).T).astype(np.float32)


def _weight_rows(flat: Shot, scale: NDArray) -> NDArray[np.float32]:
    """The weight of every sample of the mosaic's first rows, shape (repeat, whole cells' width)."""
    width = flat.size[0] // CELL_PX * CELL_PX
    if flat.pattern is None:
        return scale[None, :]
    down = lcm(flat.pattern.shape[0], CELL_PX)
    tile = scale[flat.pattern]
    return np.ascontiguousarray(
        np.tile(tile, (down // tile.shape[0], -(-width // tile.shape[1])))[:, :width], np.float32
    )


def _cell_sums(flat: Shot, tile: NDArray, top: int, bottom: int) -> NDArray[np.float32]:
    """Weighted sums of the samples in the cells of rows `top` to `bottom`."""
    width = flat.size[0] // CELL_PX * CELL_PX
    stored = flat.samples[CELL_PX * top : CELL_PX * bottom, :width]
    if flat.pattern is None:
        weighed = stored.astype(np.float32) @ tile[0]
    else:
        weighed = stored.astype(np.float32)
        for phase in range(len(tile)):
            weighed[phase :: len(tile)] *= tile[phase]
    pairs = weighed[0::2] + weighed[1::2]
    return pairs[:, 0::2] + pairs[:, 1::2]


def settle(picture: GreyPicture, z: NDArray[np.float32]) -> None:
    """Fit the smooth light anew to a picture from which marks were taken out, and take off the difference.

    Parameters
    ----------
    picture : GreyPicture
        As first made.
    z : ndarray of float32
        The picture without the marks; changed in place.
    """
    x, y = picture.block_x, picture.block_y
    basis, node_basis = picture.round_bases
    depth = block_means_of_cells(z, x, y) / picture.strength.on_grid(x, y)
    parts = fit_round(depth, robust_round_weights(depth, picture.readable, basis, LEAST_SCATTER), basis)
    strength = picture.strength.on_grid(*nodes(picture.size, SPLINES))
    off = surface_through(strength * (node_basis @ parts).reshape(strength.shape), picture.size, SPLINES)
    rows, columns = z.shape
    along = _along_x(off, cell_middles(columns))
    down = spline_basis(cell_middles(rows), picture.size[1], SPLINES[0])
    subtract_product(z, down.astype(np.float32), along, keep_zeros=True)
