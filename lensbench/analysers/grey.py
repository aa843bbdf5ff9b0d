"""A flat as one grey picture in units of its own noise: all colours' samples joined, the smooth light taken off.

Dirt's shadows are grey, so every sample tells about them, whatever its colour. Each is weighed by its own signal
to noise, two by two pixels make a cell, and the cell's departure from the smooth light is divided by its noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import lcm

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from scipy.ndimage import label, maximum, maximum_filter, median_filter, minimum_filter
from skimage.morphology import reconstruction

from lensbench.analysers.blocks import index_block_means, nearest_blocks
from lensbench.analysers.round_light import centre_of_light, fit_round, round_basis, trust_round
from lensbench.analysers.strips import STRIP_ROWS, each_strip, rows_between, take_off
from lensbench.analysers.surface import Surface, nodes, smooth_through, spline_basis
from lensbench.errors import BenchError
from lensbench.frame import h_of
from lensbench.noise import Noise, estimate_noise
from lensbench.shot import Shot

CELL_PX = 2
"""Pixels to a cell, each way."""

SPLINES = (27, 39)
"""Splines down and across that carry the smooth light from blocks to cells."""

LEAST_SCATTER = 4e-4
"""Scatter of the logarithms of the blocks' light that is never taken for dirt."""

CUT_OFF = 0.85
"""Blocks darker than this share of the smooth light, joined to the frame's border, are a barrel's shade."""

BORDER_DEPTH = 1.5e-3
"""Departures from round light larger than this share, joined to the frame's border, are the corners' own light."""

BORDER_STEP = 4e-3
"""Where that light changes by more than this share from block to block, dirt can't be told from it."""

SKIRT = 0.7
"""Where a mark stands out by this share of what runs on to the border from there, that is its own skirt."""

CLIPPED_SHARE = 0.02
LEAST_BLOCKS = 60

BLOCK_PX, BLOCKS_DOWN = (16, 64), 45
"""Limits of the blocks for the smooth light, and how many the shorter side has: few are quick to fit, but light
must bend little within each."""

LEAST_LIGHT, LEAST_LEVEL = 1 / 16, 0.002
"""Blocks with less than this share of the brightest light, or of full scale, are left blank."""

CORNERS_H = 0.6
"""How far out of the middle corners begin whose own light may be uneven."""

ODD_CELL = 5.0
"""Cells further than this from their neighbours, in units of noise, are searched for defective pixels."""

ODD_SAMPLE = 6.0
"""Samples further than this from their neighbours, in units of noise, may be defective."""

LIKE_SHARE, LIKE_LEAST = 0.25, 3.0
"""A neighbour is alike when it departs by this share as much, and by more units of noise than noise alone does."""


@dataclass(frozen=True, eq=False)
class IndexLight:
    """One colour index: its smooth light, and on the surface's nodes; its noise there; its samples' weight."""

    surface: Surface
    light: NDArray[np.float64]
    variance: NDArray[np.float64]
    noise: Noise
    weight: float


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
    flat: Shot
    lights: dict[int, IndexLight]

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
            share, spread = _departures(self.flat, self.lights, x.ravel(), y.ravel(), plane)
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
    lights, x, y, readable = _smooth_lights(flat)
    kinds = _cell_kinds(flat)
    expected, inverse, strengths = [], [], []
    for indices in kinds.reshape(-1, kinds.shape[-1]):
        parts = [lights[i] for i in indices]
        noise = np.sqrt(sum(part.weight**2 * part.variance for part in parts))
        signal = sum(part.weight * part.light for part in parts)
        black = sum(lights[i].weight * flat.gain[i] * flat.black[i] for i in indices)
        coefficients = sum(part.weight * part.surface.coefficients for part in parts)
        expected.append(Surface(flat.size, coefficients + black))
        inverse.append(smooth_through(1 / noise, flat.size, SPLINES))
        strengths.append(signal / noise)
    strength = np.sqrt(np.mean(np.square(strengths), axis=0))
    scale = (_by_index(flat, lights) * flat.gain).astype(np.float32)
    z = _whitened(flat, scale, expected, inverse, kinds.shape[:2])
    _blank(z, readable, x, y)
    _take_out_defects(z, flat, lights, inverse, kinds.shape[:2])
    spread = _spread(z, kinds.shape[1])
    z /= np.float32(spread)
    strength = smooth_through(strength / spread, flat.size, SPLINES)
    levelled, steep = _level_border(z, strength, x, y)
    readable &= ~steep
    _blank(z, readable, x, y)
    return GreyPicture(flat.size, z, strength, x, y, readable, levelled, flat, lights)


def _spread(z: NDArray[np.float32], step: int) -> float:
    """The noise of the cells between like neighbours, where it is more than the noise model says; else 1."""
    apart = z[::7, step:] - z[::7, :-step]
    return max(1.4826 * float(np.median(np.abs(apart[apart != 0]))) / np.sqrt(2), 1.0)


def _smooth_lights(flat: Shot) -> tuple[dict[int, IndexLight], NDArray, NDArray, NDArray[np.bool_]]:
    """The smooth light of each colour index, the blocks' places, and which blocks can be read in every colour."""
    block = int(np.clip(min(flat.size) // BLOCKS_DOWN, *BLOCK_PX))
    indices = _indices(flat)
    means = dict(zip(indices, index_block_means(flat, indices, block), strict=True))
    first = next(iter(means.values()))
    readable = np.all([m.clipped < CLIPPED_SHARE for m in means.values()], axis=0)
    for index, m in means.items():
        least = LEAST_LEVEL * flat.full_scale(flat.colours[index])
        readable &= m.light > max(LEAST_LIGHT * np.percentile(m.light, 99), least)
    if readable.sum() < LEAST_BLOCKS:
        raise BenchError(
            f"{flat.name}: too little of the frame can be read for dirt (the rest is clipped or dark). "
            "Light the sheet evenly and expose so that white is at 50 to 75 %."
        )
    # Colours differ in light, hardly in electrons a unit: one noise model serves them all.
    noise = estimate_noise(flat, flat.reference) or Noise(1.0, 0.0, 0.0)
    logs = {i: np.log(np.where(readable, np.maximum(m.light, 1e-30), 1.0)) for i, m in means.items()}
    grey = np.mean(list(logs.values()), axis=0)
    found = centre_of_light(first.x, first.y, grey, readable, flat.size)
    centre = (0.0, 0.0) if found is None else (float(found[0][0]), float(found[0][1]))
    basis = round_basis(first.x, first.y, flat.size, centre)
    node_basis = round_basis(*nodes(flat.size, SPLINES), flat.size, centre)
    trust = trust_round(grey, readable, basis, LEAST_SCATTER)
    lights = {}
    for index, m in means.items():
        parts = fit_round(logs[index], trust, basis)
        light = np.exp(node_basis @ parts).reshape([3 * n for n in SPLINES])
        lights[index] = _index_light(light, noise, flat.size)
        readable &= ~_vignetted(m.light / np.exp(basis @ parts).reshape(readable.shape), readable)
    return lights, first.x, first.y, readable


def _index_light(light: NDArray, noise: Noise, size: tuple[int, int]) -> IndexLight:
    """What is known of one colour index from its light on the nodes."""
    variance = noise.variance(light)
    return IndexLight(
        smooth_through(light, size, SPLINES), light, variance, noise, float(np.median(light / variance))
    )


def _indices(flat: Shot) -> list[int]:
    """The colour indices that have samples."""
    return list(range(len(flat.colours))) if flat.pattern is None else [int(i) for i in np.unique(flat.pattern)]


def _vignetted(ratio: NDArray, readable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Blocks that a barrel or ring cuts off: far darker than the smooth light, on to the frame's border."""
    cut = _joined_to_border((ratio < CUT_OFF) | ~readable)
    return grown_by_one(grown_by_one(cut)) if cut.any() else cut


def _joined_to_border(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The parts of a mask that reach the border."""
    joined = mask.copy()
    joined[1:-1, 1:-1] = False
    while True:
        grown = grown_by_one(joined) & mask
        if (grown == joined).all():
            return joined
        joined = grown


def grown_by_one(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A mask and its neighbours, corners too."""
    out = mask.copy()
    out[1:] |= mask[:-1]
    out[:-1] |= mask[1:]
    wide = out.copy()
    wide[:, 1:] |= out[:, :-1]
    wide[:, :-1] |= out[:, 1:]
    return wide


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
    x = CELL_PX * np.arange(columns) + (CELL_PX - 1) / 2
    y = CELL_PX * np.arange(rows) + (CELL_PX - 1) / 2
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
                expected_there, inverse_there = (rows_between(down, a[number], slice(None)) for a in along)
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
    x, y, readable = picture.block_x, picture.block_y, picture.readable
    depth = _block_means_of_cells(z, x, y) / picture.strength.on_grid(x, y)
    basis = round_basis(x, y, picture.size)
    parts = fit_round(depth, trust_round(depth, readable, basis, LEAST_SCATTER), basis)
    node_x, node_y = nodes(picture.size, SPLINES)
    lift = (round_basis(node_x, node_y, picture.size) @ parts).reshape(len(node_y), len(node_x))
    off = smooth_through(picture.strength.on_grid(node_x, node_y) * lift, picture.size, SPLINES)
    rows, columns = z.shape
    along = _along_x(off, CELL_PX * np.arange(columns) + (CELL_PX - 1) / 2)
    down = spline_basis(CELL_PX * np.arange(rows) + (CELL_PX - 1) / 2, picture.size[1], SPLINES[0])
    take_off(z, down.astype(np.float32), along)


def _block_means_of_cells(z: NDArray[np.float32], x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Means of the cells nearest to each block's middle."""
    columns, rows = (np.append(0, np.ceil((v[1:] + v[:-1]) / 2 / CELL_PX)).astype(int) for v in (x, y))
    rows = np.append(rows, z.shape[0])
    sums = np.empty((len(y), len(x)))

    def block_row(number: int) -> None:
        sums[number] = np.add.reduceat(z[rows[number] : rows[number + 1]].sum(axis=0), columns)

    each_strip(block_row, range(len(y)))
    return sums / np.outer(np.diff(rows), np.diff(np.append(columns, z.shape[1])))


def _level_border(
    z: NDArray[np.float32], strength: Surface, x: NDArray, y: NDArray
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Level wide areas that depart from round light and run out of the frame, in place.

    Rings and barrels that cut the outer pencils darken the corners unevenly. A smear that runs out of the frame
    looks the same, so neither is taken for dirt; what is smaller than a few blocks still shows there, and so does
    a smear with its middle in the frame, by what it is deeper there than on the way to the border.

    Returns
    -------
    levelled, steep : ndarray of bool, shape (len(y), len(x))
        Blocks that were levelled, and those over which the light changes too steeply for that.
    """
    depth = _block_means_of_cells(z, x, y) / strength.on_grid(x, y)
    corners = h_of(x[None, :], y[:, None], strength.size) > CORNERS_H
    corners[1:-1, 1:-1] = False
    # Spots of two blocks, which outlast the narrower median where the border mirrors them, don't the wider.
    own, wide = (
        _border_light(smooth, corners) - _border_light(-smooth, corners)
        for smooth in (median_filter(depth, 3), median_filter(depth, 5))
    )
    odd = (np.abs(own) > BORDER_DEPTH) & grown_by_one(np.abs(wide) > BORDER_DEPTH)
    if not odd.any():
        return odd, odd
    odd = grown_by_one(odd)
    off = np.where(odd, own, 0) * strength.on_grid(x, y)
    down, across = (
        make_interp_spline(v, np.eye(len(v)), k=3)(CELL_PX * np.arange(n) + (CELL_PX - 1) / 2)
        for n, v in ((z.shape[0], y), (z.shape[1], x))
    )
    take_off(z, down.astype(np.float32), (off @ across.T).astype(np.float32))
    steps = maximum_filter(own, 3) - minimum_filter(own, 3)
    return odd, odd & (steps > BORDER_STEP)


def _border_light(depth: NDArray, border: NDArray[np.bool_]) -> NDArray[np.float64]:
    """What can be reached from the border without ever going deeper: the corners' own, without the marks on them.

    What is plainly the skirt of a mark is left to that.
    """
    dark = np.maximum(depth, 0)
    own = reconstruction(dark * border, dark)
    parts, count = label(dark > BORDER_DEPTH)
    numbers = np.arange(1, count + 1)
    skirts = maximum(dark - own, parts, numbers) > SKIRT * maximum(own, parts, numbers)
    return own * ~np.isin(parts, numbers[skirts])


def _blank(z: NDArray[np.float32], readable: NDArray[np.bool_], x: NDArray, y: NDArray) -> None:
    """Set the cells of unreadable blocks to 0."""
    if readable.all():
        return
    rows, columns = (nearest_blocks(v, CELL_PX * np.arange(n)) for v, n in zip((y, x), z.shape, strict=True))
    for number in np.flatnonzero(~readable.all(axis=1)):
        first, last = np.searchsorted(rows, [number, number + 1])
        z[first:last] *= readable[number, columns]


# -- defective pixels -----------------------------------------------------------------------------------------


def _take_out_defects(
    z: NDArray[np.float32],
    flat: Shot,
    lights: dict[int, IndexLight],
    inverse: list[Surface],
    kinds: tuple[int, int],
) -> None:
    """Bring the hot and dead samples of odd cells to what they should show."""
    rows, columns = _odd_cells(z)
    around = np.arange(-1, CELL_PX + 1)
    y, x = np.broadcast_arrays(
        CELL_PX * rows[:, None, None] + around[:, None], CELL_PX * columns[:, None, None] + around
    )
    for plane in range(1 if flat.pattern is not None else len(flat.colours)):
        light, share, noise = _against_the_cells_light(flat, lights, x, y, plane)
        cell, *within = np.nonzero(_stands_alone(share / noise))
        own = cell, *(step + 1 for step in within)
        weight = _by_index(flat, lights)[_index_at(flat, x[own], y[own], plane)]
        too_much = share[own] * light[own] * weight
        kind = rows[cell] % kinds[0] * kinds[1] + columns[cell] % kinds[1]
        for number, surface in enumerate(inverse):
            here = kind == number
            at = rows[cell[here]], columns[cell[here]]
            np.add.at(z, at, too_much[here] * surface.at(x[own][here], y[own][here]))


def _odd_cells(z: NDArray[np.float32]) -> tuple[NDArray, NDArray]:
    """Rows and columns of the cells that differ from the mean of their four neighbours by more than noise."""
    found = []

    def strip(top: int) -> None:
        rows = np.arange(top, min(top + STRIP_ROWS, len(z)))
        own = z[rows]
        # The border mirrors the neighbours.
        around = z[np.abs(rows - 1)] + z[len(z) - 1 - np.abs(len(z) - 2 - rows)]
        around[:, 1:] += own[:, :-1]
        around[:, :-1] += own[:, 1:]
        around[:, 0] += own[:, 1]
        around[:, -1] += own[:, -2]
        own -= around / 4
        row, column = np.divmod(np.flatnonzero(np.abs(own) > ODD_CELL), z.shape[1])
        found.append((row + top, column))

    each_strip(strip, range(0, len(z), STRIP_ROWS))
    rows, columns = (np.concatenate(part) for part in zip(*found, strict=True))
    return rows, columns


def _against_the_cells_light(
    flat: Shot, lights: dict[int, IndexLight], x: NDArray, y: NDArray, plane: int
) -> tuple[NDArray, NDArray, NDArray]:
    """The smooth light, departures from it as a share, and their noise, at pixels in and around cells.

    All of shape (cells, down, across); the smooth light, which differs little over a cell, is that of its middle.
    """
    light, noise = np.ones((2, len(x), len(flat.colours)))
    for number, part in lights.items():
        light[:, number] = part.surface.at(x.mean(axis=(1, 2)), y.mean(axis=(1, 2)))
        noise[:, number] = np.sqrt(part.noise.variance(light[:, number])) / light[:, number]
    index, stored = _sample_at(flat, x, y, plane)
    cell = np.arange(len(x))[:, None, None]
    own = light[cell, index]
    return own, (stored - flat.black[index]) * flat.gain[index] / own - 1, noise[cell, index]


def _stands_alone(departures: NDArray) -> NDArray[np.bool_]:
    """Which pixels of cells stand out with at most one neighbour alike, shape (cells, CELL_PX, CELL_PX).

    A shadow even of one pixel's width darkens two neighbours of each of its pixels or more. The departures, over
    their noise, are those of the cells and the pixels around them.
    """
    windows = np.lib.stride_tricks.sliding_window_view(departures, (3, 3), axis=(1, 2))
    near = np.delete(windows.reshape(*windows.shape[:3], 9), 4, axis=-1)
    near.sort(axis=-1)
    middle = (near[..., 3] + near[..., 4]) / 2
    own = windows[..., 1, 1] - middle
    second = np.where(own > 0, near[..., -2] - middle, middle - near[..., 1])
    return (np.abs(own) > ODD_SAMPLE) & (second < np.maximum(LIKE_SHARE * np.abs(own), LIKE_LEAST))


def _by_index(flat: Shot, lights: dict[int, IndexLight]) -> NDArray[np.float64]:
    """The weight of every colour index."""
    return np.array([lights[i].weight if i in lights else 0.0 for i in range(len(flat.colours))])


def _index_at(flat: Shot, x: NDArray, y: NDArray, plane: int) -> NDArray[np.int64]:
    """The colour index of the samples at pixels x, y."""
    if flat.pattern is None:
        return np.full(x.shape, plane)
    return flat.pattern[y % flat.pattern.shape[0], x % flat.pattern.shape[1]].astype(np.int64)


def _sample_at(flat: Shot, x: NDArray, y: NDArray, plane: int) -> tuple[NDArray[np.int64], NDArray]:
    """Colour index and stored number of the samples at pixels x, y, or the nearest in the frame."""
    x, y = np.clip(x, 0, flat.size[0] - 1), np.clip(y, 0, flat.size[1] - 1)
    stored = flat.samples[y, x] if flat.pattern is not None else flat.samples[y, x, plane]
    return _index_at(flat, x, y, plane), stored


def _departures(
    flat: Shot, lights: dict[int, IndexLight], x: NDArray, y: NDArray, plane: int
) -> tuple[NDArray, NDArray]:
    """How far samples lie from the smooth light, as a share of it, and the noise of that."""
    x, y = np.clip(x, 0, flat.size[0] - 1), np.clip(y, 0, flat.size[1] - 1)
    index, stored = _sample_at(flat, x, y, plane)
    share, noise = np.zeros(len(x)), np.ones(len(x))
    for number, part in lights.items():
        here = index == number
        light = part.surface.at(x[here], y[here])
        share[here] = flat.light(stored[here], number) / light - 1
        noise[here] = np.sqrt(part.noise.variance(light)) / light
    return share, noise
