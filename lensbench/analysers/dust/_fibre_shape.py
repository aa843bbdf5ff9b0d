"""The shapes of fibres: a path, and what a section across it shows."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibre_path import least_distance
from lensbench.analysers.dust._pyramid import Box, Level
from lensbench.analysers.dust._residual import GreyPicture
from lensbench.analysers.dust._rim import fade, faded_at
from lensbench.findings import Figure

SECTION_STEEPNESS = (2.0, 4.0)
WIDTHS = np.geomspace(0.4, 6.0, 36)
PLACES = np.linspace(-0.6, 0.6, 7)
"""What a section is compared with: rims, widths and places in cells."""

JOIN_PX = 16.0
"""Fibres whose ends lie nearer are one, when they run the same way there."""

BIN = 0.5
"""Cells to a step of a section."""

SECTION_CELLS = 5.0
"""How far a section across a fibre reaches to both sides, in cells."""


@dataclass(frozen=True, eq=False)
class Fibre:
    """A fibre's shadow: depth × exp(−ln 2 · (2 · distance / width)^steepness) around a path.

    Attributes
    ----------
    path : ndarray, shape (points, 2)
        Its middle line in pixels, a point a cell or so.
    steepness : float
        Of the rims: 2 is a Gaussian.
    width, length : Figure
        Across at half depth, and along, in pixels.
    depth : Figure
        In percent of the light around, darker positive.
    signal_to_noise : float
        Of the filter that matches it.
    """

    path: NDArray[np.float64]
    steepness: float
    width: Figure
    length: Figure
    depth: Figure
    signal_to_noise: float

    @property
    def x(self) -> float:
        """Where its middle lies."""
        return float(self.path[len(self.path) // 2, 0])

    @property
    def y(self) -> float:
        """Where its middle lies."""
        return float(self.path[len(self.path) // 2, 1])

    def distance(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Distance of places to the path in pixels; far from it to within a few percent."""
        places = np.stack([np.ravel(x), np.ravel(y)], axis=1).astype(float)
        thin = self.path[:: max(len(self.path) // 40, 1)]
        near = least_distance(places, np.concatenate([thin, self.path[-1:]]))
        gap = np.hypot(*np.diff(thin, axis=0).T).max(initial=1.0)
        close = near < self.reach + 10 * gap
        near[close] = least_distance(places[close], self.path)
        return near.reshape(np.shape(x))

    def radius(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Distance from the path at places in pixels: 1 at half depth."""
        return 2 * self.distance(x, y) / self.width.value

    @property
    def reach(self) -> float:
        """Distance from the path at which its shadow has faded."""
        return faded_at(self.steepness) * self.width.value / 2

    @property
    def box(self) -> Box:
        """The part of the frame that it changes."""
        return Box(*self.path.min(axis=0), *self.path.max(axis=0)).grown(self.reach + CELL_PX)

    def lift(self, z: NDArray[np.float32], picture: GreyPicture, share: float = 1.0) -> None:
        """Lift the picture by a share of its shadow (-1 puts it back)."""
        path = (self.path - (CELL_PX - 1) / 2) / CELL_PX
        reach = self.reach / CELL_PX
        offsets = np.arange(-reach, reach + 0.5, 0.5)
        fine = _even(path, 0.5)
        # Around its ends the shadow is round: what lies beyond them is counted from there.
        longer = _longer(fine, reach, 0.5)
        beyond = (len(longer) - len(fine)) // 2
        nearest = np.pad(fine, ((beyond, beyond), (0, 0)), mode="edge")
        places = np.rint(longer[:, None] + offsets[:, None] * _normals(longer)[:, None]).astype(int)
        column, row = places.reshape(-1, 2).T
        inside = (row >= 0) & (row < z.shape[0]) & (column >= 0) & (column < z.shape[1])
        away = np.hypot(*(places - nearest[:, None]).reshape(-1, 2).T)[inside]
        cells, number = np.unique(row[inside] * z.shape[1] + column[inside], return_inverse=True)
        distance = np.full(len(cells), np.inf)
        np.minimum.at(distance, number, away)
        rows, columns = np.divmod(cells, z.shape[1])
        strength = picture.strength_at(columns * CELL_PX, rows * CELL_PX)
        faded = fade(2 * CELL_PX * distance / self.width.value, self.steepness)
        shadow = share * self.depth.value / 100 * strength * faded
        z[rows, columns] -= shadow.astype(np.float32)


def measure_fibre(
    picture: GreyPicture,
    levels: list[Level],
    level: Level,
    path: NDArray[np.float64],
    sign: float,
    least: float = 4.0,
) -> Fibre | None:
    """Centre a followed path on its fibre, find its ends, and measure a section across it.

    Parameters
    ----------
    picture : GreyPicture
        The grey picture, for its signal to noise and, for thin fibres, its single pixels.
    levels : list of Level
        The grids, without other marks and ground.
    level : Level
        The one of them on which the path was followed.
    path : ndarray, shape (points, 2)
        From `follow`, in pixels.
    sign : float
        1 for a dark fibre, -1 for a bright one.
    least : float
        Least signal to noise on that level.

    Returns
    -------
    Fibre or None
        None where no line is left after centring.
    """
    places = _on_the_ridge(path, level, sign, (6, 4))
    if places is None:
        return None
    section = _section(picture, level, places, sign)
    if section.signal_to_noise < least:
        return None
    best = level
    # The finer the cells the truer path and section, while there is signal left in each. A truer path may show
    # best on the cells on which the section was measured so far, which reach further to the sides.
    for finer in [other for other in reversed(levels) if other.cell_px < level.cell_px]:
        closer = _on_the_ridge(places, finer, sign, (2,))
        for cells in (finer, best) if closer is not None else ():
            other = _section(picture, cells, closer, sign)
            if other.signal_to_noise > section.signal_to_noise:
                places, section, best = closer, other, cells
    if 0 < section.width < 2.5 * CELL_PX:
        pixels = _section(picture, None, places, sign)
        section = pixels if pixels.signal_to_noise > 0.9 * section.signal_to_noise else section
    if section.height <= 0:
        return None
    return _described(picture, places, section, level.cell_px, sign)


def _on_the_ridge(
    path: NDArray, level: Level, sign: float, reaches: tuple[int, ...]
) -> NDArray[np.float64] | None:
    """A path in pixels moved onto its line on a level, each time from some cells beyond its ends on."""
    path = (path - level.offset) / level.cell_px
    for reach in reaches:
        path, along = _centred(level.z, sign, _even(_longer(path, reach)))
        first, last = _ends(along)
        path = path[first:last]
        if len(path) < 5:
            return None
    return path * level.cell_px + level.offset


def joined_paths(one: Fibre, other: Fibre) -> NDArray[np.float64] | None:
    """The path of two fibres of one kind of which one goes on where the other ends; None where they don't."""
    if one.depth.value * other.depth.value < 0:
        return None
    room = JOIN_PX + one.width.value + other.width.value
    for first in (one.path, one.path[::-1]):
        for second in (other.path, other.path[::-1]):
            gaps = np.hypot(*(second - first[-1]).T)
            # They may overlap for some way.
            start = int(np.argmin(gaps))
            rest = second[start:]
            if gaps[start] > room or len(rest) < 5:
                continue
            ways = first[-1] - first[-min(20, len(first))], rest[min(20, len(rest)) - 1] - rest[0]
            along = [way @ (rest[-1] - first[0]) for way in ways]
            if ways[0] @ ways[1] > 0 and min(along) > 0:
                return np.concatenate([first, rest])
    return None


def _longer(path: NDArray, cells: float, step: float = 1.0) -> NDArray[np.float64]:
    """A path with straight pieces of so many cells added at both ends, a point every `step` of them."""
    back = min(round(6 / step), len(path) - 1)
    ways = path[0] - path[back], path[-1] - path[-1 - back]
    head, tail = (way / max(np.hypot(*way), 1e-9) for way in ways)
    steps = np.arange(step, cells + step / 2, step)[:, None]
    return np.concatenate([path[0] + steps[::-1] * head, path, path[-1] + steps * tail])


def _even(path: NDArray, step: float = 1.0) -> NDArray[np.float64]:
    """The path smoothed a little, with a point every `step` cells."""
    smooth = path.copy()
    for _ in range(2):
        smooth[1:-1] = 0.25 * smooth[:-2] + 0.5 * smooth[1:-1] + 0.25 * smooth[2:]
    run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(smooth, axis=0).T))])
    places = np.linspace(0, run[-1], max(round(run[-1] / step), 2) + 1)
    return np.stack([np.interp(places, run, smooth[:, 0]), np.interp(places, run, smooth[:, 1])], axis=1)


def _normals(path: NDArray) -> NDArray[np.float64]:
    way = np.gradient(path, axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return np.stack([-way[:, 1], way[:, 0]], axis=1)


def _sections(z: NDArray, path: NDArray, offsets: NDArray) -> NDArray[np.float64]:
    """The picture on lines across a path, between cells by straight lines, shape (points, offsets); 0 outside."""
    places = path[:, None] + offsets[None, :, None] * _normals(path)[:, None]
    column, row = np.floor(places[..., 0]).astype(int), np.floor(places[..., 1]).astype(int)
    u, v = places[..., 0] - column, places[..., 1] - row
    inside = (column >= 0) & (column < z.shape[1] - 1) & (row >= 0) & (row < z.shape[0] - 1)
    column, row = column.clip(0, z.shape[1] - 2), row.clip(0, z.shape[0] - 2)
    upper = (1 - u) * z[row, column] + u * z[row, column + 1]
    lower = (1 - u) * z[row + 1, column] + u * z[row + 1, column + 1]
    return np.where(inside, (1 - v) * upper + v * lower, 0.0)


def _centred(z: NDArray, sign: float, path: NDArray) -> tuple[NDArray, NDArray]:
    """The path moved onto the ridge (or furrow) of z, and the signal along it."""
    offsets = np.linspace(-3, 3, 13)
    sections = sign * _sections(z, path, offsets)
    strength = max(float(np.mean(sections[:, 5:8])), 0.2)
    # Averaged along the path until the ridge stands out of the noise.
    run = int(np.clip((3 / strength) ** 2, 5, 41)) | 1
    steady = _running_mean(sections, min(run, len(path) | 1))
    three = steady[:, :-2] + steady[:, 1:-1] + steady[:, 2:]
    best = np.argmax(three, axis=1) + 1
    around = np.clip(best[:, None] + np.arange(-3, 4), 0, len(offsets) - 1)
    weight = np.maximum(np.take_along_axis(steady, around, axis=1), 0) + 1e-6
    shift = (weight * offsets[around]).sum(axis=1) / weight.sum(axis=1)
    shift = _running_mean(shift[:, None], min(run, len(path) | 1))[:, 0]
    moved = path + shift[:, None] * _normals(path)
    return moved, sign * _sections(z, moved, np.linspace(-1, 1, 3)).mean(axis=1)


def _running_mean(values: NDArray, run: int) -> NDArray[np.float64]:
    """Means over `run` rows; at the ends over those that there are."""
    half = run // 2
    padded = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    low = np.maximum(np.arange(len(values)) - half, 0)
    high = np.minimum(np.arange(len(values)) + half + 1, len(values))
    return (padded[high] - padded[low]) / (high - low)[:, None]


def _ends(along: NDArray) -> tuple[int, int]:
    """Where the signal along a path begins and ends: what lies above half of its typical height."""
    height = float(np.median(along[len(along) // 4 : -(len(along) // 4) or None]))
    gained = np.concatenate([[0], np.cumsum(along - height / 2)])
    middle = len(along) // 2
    return int(np.argmin(gained[: middle + 1])), int(middle + np.argmax(gained[middle:]))


class _Section(NamedTuple):
    """What lies across a fibre: height in z of base cells, width in px, rim, half intervals, signal to noise."""

    height: float
    width: float
    steepness: float
    half_height: float
    half_width: float
    signal_to_noise: float


NO_SECTION = _Section(0.0, 0.0, 2.0, 0.0, 0.0, 0.0)


def _section(picture: GreyPicture, level: Level | None, places: NDArray, sign: float) -> _Section:
    """Measure across a path (in pixels) on the cells of a level, or on single pixels where that is None."""
    cell = level.cell_px if level else 1
    offset = level.offset if level else 0.0
    path = (places - offset) / cell
    column, row, away = _beside(path, SECTION_CELLS)
    shape = level.z.shape if level else picture.size[::-1]
    inside = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    column, row, away = column[inside], row[inside], away[inside]
    if level:
        values = level.z[row, column] * CELL_PX / cell
        good = values != 0
    else:
        depth, noise = picture.pixels(column, row)
        strength = picture.strength_at(column, row)
        values, good = depth * strength, np.abs(depth) < np.abs(np.median(depth)) + 8 * noise
    bins = np.rint((away[good] + SECTION_CELLS) / BIN).astype(int)
    count = np.bincount(bins, minlength=round(2 * SECTION_CELLS / BIN) + 1).astype(float)
    means = sign * np.bincount(bins, values[good], minlength=len(count)) / np.maximum(count, 1)
    # Noise of a value in z of base cells: that of the cell it comes from.
    return _fit_section(means, count, cell)


def _beside(path: NDArray, reach: float) -> tuple[NDArray, NDArray, NDArray]:
    """Columns and rows of the cells beside a path, each once, and their signed distances to it."""
    fine = _even(path, 0.5)
    normals = _normals(fine)
    offsets = np.arange(-reach, reach + 0.5, 0.5)
    places = np.rint(fine[:, None] + offsets[:, None] * normals[:, None]).astype(int)
    away = ((places - fine[:, None]) * normals[:, None]).sum(axis=-1).ravel()
    apart = np.hypot(*(places - fine[:, None]).reshape(-1, 2).T)
    places = places.reshape(-1, 2)
    order = np.argsort(apart, kind="stable")
    _, first = np.unique(places[order, 1] * 65536 + places[order, 0], return_index=True)
    chosen = order[first]
    keep = np.abs(away[chosen]) <= reach
    return places[chosen, 0][keep], places[chosen, 1][keep], away[chosen][keep]


def _fit_section(means: NDArray, count: NDArray, cell: int) -> _Section:
    """Fit a bar on an even ground: the best of a table of widths, places and rims.

    Height and ground follow for each entry; the widths that fit nearly as well as the best give the interval.
    """
    if count.sum() < 20:
        return NO_SECTION
    noise = CELL_PX / cell
    profiles = _bars()
    mean = profiles @ count / count.sum()
    spread = ((profiles - mean[..., None]) ** 2) @ count
    height = (profiles - mean[..., None]) @ (count * means) / np.maximum(spread, 1e-9)
    misfit = -(height**2) * spread / noise**2
    misfit[height <= 0] = 0.0
    steep, wide, place = np.unravel_index(np.argmin(misfit), misfit.shape)
    by_width = misfit.min(axis=(0, 2))
    nearly = by_width < by_width.min() + 3.84
    heights = height[steep, nearly].max(axis=1)
    best = float(height[steep, wide, place])
    half_height = np.hypot(1.96 * noise / np.sqrt(spread[steep, wide, place]), np.ptp(heights) / 2)
    half_width = max(np.ptp(WIDTHS[nearly]) / 2, 0.04 * WIDTHS[wide])
    matched = best * np.sqrt(spread[steep, wide, place]) / noise
    return _Section(
        best,
        float(WIDTHS[wide]) * cell,
        SECTION_STEEPNESS[steep],
        float(half_height),
        half_width * cell,
        float(matched),
    )


def _described(picture: GreyPicture, places: NDArray, section: _Section, cell: int, sign: float) -> Fibre:
    strength = float(np.mean(picture.strength_at(places[:, 0], places[:, 1])))
    length = float(np.hypot(*np.diff(places, axis=0).T).sum()) + cell
    unsure_end = 2 * cell * np.clip(2 * CELL_PX / cell / section.height, 1, 10)
    return Fibre(
        places,
        section.steepness,
        Figure.of(section.width, section.half_width, "px"),
        Figure.of(length, unsure_end, "px"),
        Figure.of(100 * sign * section.height / strength, 100 * section.half_height / strength, "%"),
        section.signal_to_noise,
    )


@functools.cache
def _bars() -> NDArray[np.float64]:
    """Sections of bars with soft rims, shape (steepness, widths, places, offsets)."""
    offsets = np.arange(-SECTION_CELLS, SECTION_CELLS + BIN / 2, BIN)
    # Averaged over the cell's own width.
    inside = np.linspace(-0.4, 0.4, 5)
    steepness, width, place = np.meshgrid(SECTION_STEEPNESS, WIDTHS, PLACES, indexing="ij")
    away = np.abs(offsets[:, None] + inside - place[..., None, None])
    return fade(2 * away / width[..., None, None], steepness[..., None, None]).mean(axis=-1)
