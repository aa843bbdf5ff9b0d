"""An even light as a map: block means of the raw samples in stops, and the smooth surface through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.flat_light._block_means import (
    BLOCK_PX,
    Blocks,
    block_borders,
    block_means,
    nearest_blocks,
)
from lensbench.analysers.numerics.surfaces import Surface, fit_robust_surface
from lensbench.errors import BenchError
from lensbench.frame import h_of, half_diagonal
from lensbench.shot import Shot

REFERENCE_H = 0.1
"""Falloff is counted in stops below the mean light within this distance of the frame's centre."""

READABLE_STOPS = 8.0
"""Blocks darker than the brightest by more than this hold too little light to be read."""

BLACK_STOPS = 20.0
"""No block counts as darker than this."""

CLIPPED_SHARE = 0.02
"""A block with a larger share of clipped samples is left out; a few are hot pixels."""

FINE_PX = 4
"""About how wide blocks are where a hard edge cuts the light."""

MAP_STOPS = 1.5e-3
"""What the smooth map leaves open where a rim begins to cut the light (as found on flats of known light)."""


@dataclass(frozen=True, eq=False)
class FlatLight:
    """What one flat shows in one channel, over a grid of blocks.

    Attributes
    ----------
    x, y : ndarray
        The blocks' centres in pixels.
    stops : ndarray, shape (y, x)
        Below the median of the middle, positive is darker; where too dark to be read no more than `BLACK_STOPS`.
    readable, dark : ndarray of bool, shape (y, x)
        Which blocks can be read, and which are too dark for it.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    stops: NDArray[np.float64]
    readable: NDArray[np.bool_]
    dark: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class LightMap:
    """Stops below the reference over a grid of blocks, as measured and smooth.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops : ndarray, shape (y, x)
        As measured; where that can't be read, no less than they are or anything finite.
    weight : ndarray, shape (y, x)
        0 where a block could not be read.
    rough : ndarray of bool, shape (y, x)
        Where a hard edge cuts the light, or none is left, so that the map is as measured and not smooth.
    bend : ndarray, shape (y, x)
        Stops in the middle of each block above those of its mean light, which bends within it.
    surface : Surface
        The smooth map, in stops.
    spread : float
        Standard deviation of one block's noise in stops.
    """

    size: tuple[int, int]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    stops: NDArray[np.float64]
    weight: NDArray[np.float64]
    rough: NDArray[np.bool_]
    bend: NDArray[np.float64]
    surface: Surface
    spread: float

    @property
    def smooth(self) -> NDArray[np.float64]:
        """The smooth map at the blocks' centres, shape (y, x)."""
        return self.surface.on_grid(self.x, self.y)

    @property
    def readable(self) -> NDArray[np.bool_]:
        """Which blocks could be read."""
        return self.weight > 0

    def on_grid(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The map at all pairs of x and y, shape (y, x): smooth, or as measured beyond a hard edge."""
        values = self.surface.on_grid(x, y)
        if self.rough.any():
            near = self._nearest(x, y)
            values = np.where(self.rough[near], self.stops[near], values)
        return values

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The map at single places, as `on_grid`; NaN where clipping hides how bright it is."""
        row, column = nearest_blocks(self.y, y), nearest_blocks(self.x, x)
        values = np.where(self.rough[row, column], self.stops[row, column], self.surface.at(x, y))
        return np.where((self.readable | self.rough)[row, column], values, np.nan)

    def readable_on(self, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
        """Whether the nearest block could be read, at all pairs of x and y."""
        return self.readable[self._nearest(x, y)]

    def _nearest(self, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        return np.ix_(nearest_blocks(self.y, y), nearest_blocks(self.x, x))


def read_flats(flats: Sequence[Shot], channel: str, darks: Sequence[Shot] = ()) -> list[FlatLight]:
    """Average one channel of flats over blocks.

    Parameters
    ----------
    flats : sequence of Shot
        Even light, one or more, all of one size.
    channel : str
        One of their channels.
    darks : sequence of Shot
        Frames taken with the lens covered; their mean is taken off.

    Raises
    ------
    BenchError
        Where a flat can't be read: too dark, clipped in the middle, or of another size than the dark frames.
    """
    level = dark_level(darks, flats[0], channel)
    return [_read_flat(flat, channel, level) for flat in flats]


def _read_flat(flat: Shot, channel: str, black: float | NDArray) -> FlatLight:
    """What one flat shows above the level of the dark frames."""
    blocks = block_means(flat, channel)
    light = blocks.light - black
    _check_middle(flat, light, blocks.clipped, channel)
    bright = np.percentile(light, 99)
    dark = light <= bright * 2.0**-READABLE_STOPS
    readable = ~dark & (blocks.clipped <= CLIPPED_SHARE)
    light = light - _off_centre(flat, channel, light, blocks.x, blocks.y)
    stops = -np.log2(np.maximum(light, bright * 2.0**-BLACK_STOPS))
    middle = readable & (h_of(blocks.x[None, :], blocks.y[:, None], flat.size) < 0.25)
    stops -= np.median(stops[middle])
    return FlatLight(blocks.x, blocks.y, stops, readable, dark)


def _off_centre(flat: Shot, channel: str, light: NDArray, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """What the light changes from the blocks' centres to the mean place of a colour's samples in them."""
    parts = list(flat.sublattices(channel))
    across, down = (np.mean([part.first[axis] - (part.step[axis] - 1) / 2 for part in parts]) for axis in (0, 1))
    if min(light.shape) < 2:
        return np.zeros_like(light)
    by_y, by_x = np.gradient(light, y, x)
    return across * by_x + down * by_y


def read_finely(flats: Sequence[Shot], channel: str, darks: Sequence[Shot] = ()) -> Blocks:
    """The light of flats together in blocks of `FINE_PX`, for where it changes within the larger ones."""
    level = dark_level(darks, flats[0], channel, FINE_PX)
    read = [block_means(flat, channel, FINE_PX) for flat in flats]
    return replace(read[0], light=sum(blocks.light for blocks in read) - len(read) * level)


def dark_level(darks: Sequence[Shot], flat: Shot, channel: str, block: int = BLOCK_PX) -> float | NDArray:
    """Mean of the darks over a shot's blocks, in stored units above black; 0 without darks.

    Raises
    ------
    BenchError
        Where a dark frame has another size.
    """
    if not darks:
        return 0.0
    for dark in darks:
        if dark.size != flat.size:
            raise BenchError(
                f"{dark.name}: is {dark.size[0]} × {dark.size[1]} pixels, {flat.name} is "
                f"{flat.size[0]} × {flat.size[1]}. Take the dark frames with the same camera and crop."
            )
    return np.mean([block_means(dark, channel, block).light for dark in darks], axis=0)


def _check_middle(flat: Shot, light: NDArray, clipped: NDArray, channel: str) -> None:
    """Refuse a flat whose middle can't be read."""
    size_y, size_x = light.shape
    middle = np.s_[3 * size_y // 8 : 5 * size_y // 8 + 1, 3 * size_x // 8 : 5 * size_x // 8 + 1]
    if np.median(clipped[middle]) > CLIPPED_SHARE:
        raise BenchError(
            f"{flat.name}: the middle of the flat is clipped ({channel} is at 100 %). Expose a stop less."
        )
    full = flat.full_scale(channel)
    level = float(np.median(light[middle]))
    if level < 0.005 * full:
        raise BenchError(
            f"{flat.name}: the middle of the flat is nearly black ({channel} is at {100 * level / full:.1f} %). "
            "Aim at 50 to 75 %: light the sheet, take the cap off, expose longer."
        )


def fit_light(
    size: tuple[int, int], x: NDArray, y: NDArray, stops: NDArray, weight: NDArray, rough: NDArray[np.bool_]
) -> LightMap:
    """Lay a smooth surface through a grid of stops, and count them from the middle.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops, weight : ndarray, shape (y, x)
        Any count of stops, positive is darker, and how much each counts.
    rough : ndarray of bool, shape (y, x)
        Blocks that the surface is not to follow.
    """
    trusted = np.where(rough, 0.0, weight)
    surface, _ = fit_robust_surface(stops, trusted, x, y, size, least_sigma=1e-3)
    bend = np.where(rough, 0.0, _bend_within(surface, x, y))
    stops = stops + bend
    surface, trust = fit_robust_surface(stops, trusted, x, y, size, least_sigma=1e-3)
    off = (stops - surface.on_grid(x, y))[(trusted > 0) & (trust > 0.5)]
    spread = 1.4826 * float(np.median(np.abs(off - np.median(off)))) if len(off) else 0.0
    reference = _reference(surface, size)
    level = Surface(size, surface.coefficients - reference)
    return LightMap(size, x, y, stops - reference, weight, rough, bend, level, spread)


def _bend_within(surface: Surface, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Stops in the middle of each block less those of its mean light: the light bends within it."""
    light = 2.0 ** -surface.on_grid(x, y)
    across, down = (np.diff(block_borders(*axis)) / 2 for axis in zip((x, y), surface.size, strict=True))
    ends = [surface.on_grid(x + way * across, y) for way in (-1, 1)]
    ends += [surface.on_grid(x, y + way * down) for way in (-1, 1)]
    # Simpson's rule along either axis.
    bend = (sum(2.0**-stops for stops in ends) - 4 * light) / 6
    return np.log2(1 + np.clip(bend / light, -0.1, 0.1))


def _reference(surface: Surface, size: tuple[int, int]) -> float:
    """Stops of the mean light within `REFERENCE_H` of the frame's centre."""
    reach = REFERENCE_H * half_diagonal(size)
    steps = np.linspace(-reach, reach, 41)
    x, y = (size[0] - 1) / 2 + steps, (size[1] - 1) / 2 + steps
    inside = np.hypot(steps[None, :], steps[:, None]) <= reach
    return -float(np.log2(np.mean(2.0 ** -surface.on_grid(x, y)[inside])))
