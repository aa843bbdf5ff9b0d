"""Falloff: how much darker an even light is drawn away from the middle of the frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.blocks import block_means
from lensbench.analysers.round_light import centre_of_light
from lensbench.analysers.surface import Surface, fit_clean_surface
from lensbench.errors import BenchError
from lensbench.findings import Falloff, FalloffGrid, Figure, Place, ZoneFalloff
from lensbench.frame import ZONES, centre_of, h_of, half_diagonal, zone_index
from lensbench.shot import Shot

REFERENCE_H = 0.1
"""Falloff is counted in stops below the mean light within this distance of the frame's centre."""

READABLE_STOPS = 8.0
"""Blocks darker than the brightest by more than this hold too little light to be read."""

COVERED_STOPS = 5.0
"""Where a block of the frame is darker than this the light does not cover the frame."""

CLIPPED_SHARE = 0.02
"""A block with a larger share of clipped samples is left out; a few are hot pixels."""

GRID = (49, 33)
"""Points of the reported map across and down."""

MAP_STOPS = 1.5e-3
"""What the smooth map leaves open where a rim begins to cut the light (as found on flats of known light)."""

ZONE_POINTS = 300
"""Points each way over which a zone's mean is taken."""


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
        As measured, 0 where not readable.
    weight : ndarray, shape (y, x)
        0 where a block could not be read.
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
    surface: Surface
    spread: float

    @property
    def smooth(self) -> NDArray[np.float64]:
        """The smooth map at the blocks' centres, shape (y, x)."""
        return self.surface.on_grid(self.x, self.y)


def measure_falloff(flats: Sequence[Shot], darks: Sequence[Shot] = ()) -> Falloff:
    """Measure falloff from flats taken alike.

    Parameters
    ----------
    flats : sequence of Shot
        One or more flats of one setting and one frame size. Their maps are averaged.
    darks : sequence of Shot
        Frames taken with the lens covered, at the flats' exposure time and sensitivity; their mean is taken off.

    Returns
    -------
    Falloff
        Zone figures are the mean of the stops over the zone's area. Intervals hold the flats' noise and the
        map's misfit, not the light panel's own unevenness.

    Raises
    ------
    BenchError
        Where the flats can't be read: too dark, clipped in the middle, or of different sizes.
    """
    light_map = map_light(flats, darks)
    size = light_map.size
    grid_x, grid_y = np.linspace(0, size[0] - 1, GRID[0]), np.linspace(0, size[1] - 1, GRID[1])
    darkest = np.where(light_map.weight > 0, light_map.stops, np.inf)
    return Falloff(
        zones=_zones(light_map),
        grid=_grid(light_map, grid_x, grid_y),
        centre_px=_centre(light_map),
        covers_frame=bool(_low_percentile_cover(darkest)),
    )


def map_light(flats: Sequence[Shot], darks: Sequence[Shot] = ()) -> LightMap:
    """Average flats to one map of stops below the middle.

    Raises
    ------
    BenchError
        As `measure_falloff`.
    """
    if not flats:
        raise ValueError("falloff needs a flat")
    first = flats[0]
    channel = first.reference
    total, weight = 0.0, 0.0
    for flat in flats:
        if flat.size != first.size:
            raise BenchError(
                f"{flat.name}: is {flat.size[0]} × {flat.size[1]} pixels, {first.name} is "
                f"{first.size[0]} × {first.size[1]}. Take all flats of a setting with one camera and crop."
            )
        blocks = block_means(flat, channel)
        light = blocks.light - _dark_level(darks, flat, channel)
        readable = _readable(flat, light, blocks.clipped, channel)
        logs = np.log2(np.where(readable, light, 1.0))
        middle = readable & (h_of(blocks.x[None, :], blocks.y[:, None], flat.size) < 0.25)
        logs -= np.median(logs[middle])
        total, weight = total + np.where(readable, logs, 0.0), weight + readable
    stops = -np.where(weight > 0, total / np.maximum(weight, 1), 0.0)
    return _fitted(first.size, blocks.x, blocks.y, stops, weight)


def _dark_level(darks: Sequence[Shot], flat: Shot, channel: str) -> float | NDArray:
    """Mean of the darks over the flat's blocks, in stored units above black; 0 without darks."""
    if not darks:
        return 0.0
    for dark in darks:
        if dark.size != flat.size:
            raise BenchError(
                f"{dark.name}: is {dark.size[0]} × {dark.size[1]} pixels, {flat.name} is "
                f"{flat.size[0]} × {flat.size[1]}. Take the dark frames with the same camera and crop."
            )
    return np.mean([block_means(dark, channel).light for dark in darks], axis=0)


def _readable(flat: Shot, light: NDArray, clipped: NDArray, channel: str) -> NDArray[np.bool_]:
    """Which blocks hold light that can be read; refuses a flat whose middle can't."""
    size_y, size_x = light.shape
    middle = np.s_[3 * size_y // 8 : 5 * size_y // 8 + 1, 3 * size_x // 8 : 5 * size_x // 8 + 1]
    full = flat.full_scale(channel)
    if np.median(clipped[middle]) > CLIPPED_SHARE:
        raise BenchError(
            f"{flat.name}: the middle of the flat is clipped ({channel} is at 100 %). Expose a stop less."
        )
    level = float(np.median(light[middle]))
    if level < 0.005 * full:
        raise BenchError(
            f"{flat.name}: the middle of the flat is nearly black ({channel} is at {100 * level / full:.1f} %). "
            "Aim at 50 to 75 %: light the sheet, take the cap off, expose longer."
        )
    brightest = float(np.percentile(light, 99))
    return (light > brightest * 2.0**-READABLE_STOPS) & (clipped <= CLIPPED_SHARE)


def _fitted(size: tuple[int, int], x: NDArray, y: NDArray, stops: NDArray, weight: NDArray) -> LightMap:
    surface, _ = fit_clean_surface(stops, weight, x, y, size, least=1e-3)
    stops = stops + _bend_within(surface, x, y)
    surface, trust = fit_clean_surface(stops, weight, x, y, size, least=1e-3)
    off = (stops - surface.on_grid(x, y))[(weight > 0) & (trust > 0.5)]
    spread = 1.4826 * float(np.median(np.abs(off - np.median(off)))) if len(off) else 0.0
    reference = _reference(surface, size)
    level = Surface(size, surface.coefficients - reference)
    return LightMap(size, x, y, np.where(weight > 0, stops - reference, 0.0), weight, level, spread)


def _bend_within(surface: Surface, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Stops in the middle of each block less those of its mean light: the light bends within it."""
    light = 2.0 ** -surface.on_grid(x, y)
    bend = sum(np.gradient(np.gradient(light, axis=axis), axis=axis) for axis in (0, 1))
    return np.log2(1 + np.clip(bend / light / 24, -0.1, 0.1))


def _reference(surface: Surface, size: tuple[int, int]) -> float:
    """Stops of the mean light within `REFERENCE_H` of the frame's centre."""
    reach = REFERENCE_H * half_diagonal(size)
    steps = np.linspace(-reach, reach, 41)
    x, y = (size[0] - 1) / 2 + steps, (size[1] - 1) / 2 + steps
    inside = np.hypot(steps[None, :], steps[:, None]) <= reach
    return -float(np.log2(np.mean(2.0 ** -surface.on_grid(x, y)[inside])))


def _zones(light_map: LightMap) -> list[ZoneFalloff]:
    """The mean of the stops over each zone that can be read."""
    size, readable = light_map.size, light_map.weight > 0
    x, y = _fine(size[0]), _fine(size[1])
    stops, index = light_map.surface.on_grid(x, y), zone_index(x[None, :], y[:, None], size)
    block_index = zone_index(light_map.x[None, :], light_map.y[:, None], size)
    middle = readable & (h_of(light_map.x[None, :], light_map.y[:, None], size) < REFERENCE_H)
    rows = np.abs(y[:, None] - light_map.y).argmin(axis=1)
    columns = np.abs(x[:, None] - light_map.x).argmin(axis=1)
    seen = readable[np.ix_(rows, columns)]
    found = []
    for number, zone in enumerate(ZONES):
        inside, blocks = seen & (index == number), readable & (block_index == number)
        if not blocks.any() or inside.sum() < 0.5 * (index == number).sum():
            continue
        noise = light_map.spread * np.sqrt(1 / blocks.sum() + 1 / max(middle.sum(), 1))
        misfit = float(np.median((light_map.stops - light_map.smooth)[blocks]))
        half = float(np.hypot(1.96 * noise + abs(misfit), MAP_STOPS))
        found.append(ZoneFalloff(zone, Figure.of(stops[inside].mean(), half, "stops")))
    return found


def _fine(length: int) -> NDArray[np.float64]:
    """Places along the frame, dense enough to count the area of a zone."""
    count = min(length, ZONE_POINTS)
    return (np.arange(count) + 0.5) * length / count - 0.5


def _grid(light_map: LightMap, x: NDArray, y: NDArray) -> FalloffGrid:
    """The smooth map on a grid, None where the nearest block could not be read."""
    stops = light_map.surface.on_grid(x, y)
    rows = np.abs(y[:, None] - light_map.y).argmin(axis=1)
    columns = np.abs(x[:, None] - light_map.x).argmin(axis=1)
    readable = light_map.weight[np.ix_(rows, columns)] > 0
    listed = [
        [round(float(value), 5) if fine else None for value, fine in zip(line, good, strict=True)]
        for line, good in zip(stops, readable, strict=True)
    ]
    return FalloffGrid([float(v) for v in x], [float(v) for v in y], listed)


def _low_percentile_cover(darkest: NDArray) -> bool:
    """Whether no more than a speck of the frame is darker than `COVERED_STOPS`."""
    return np.mean(darkest > COVERED_STOPS) < 1e-3


def _centre(light_map: LightMap) -> Place | None:
    """Where the light's centre lies; None where it is too even to tell."""
    size, readable = light_map.size, light_map.weight > 0
    found = centre_of_light(light_map.x, light_map.y, light_map.smooth, readable, size, light_map.spread)
    if found is None:
        return None
    middle = np.array(centre_of(size)) + found[0] * half_diagonal(size)
    across, down = found[1] * half_diagonal(size)
    return Place(Figure.of(middle[0], across, "px"), Figure.of(middle[1], down, "px"))
