"""Falloff by zone: the light that falls on each zone of the frame, against that near its middle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve, label, map_coordinates, minimum_filter
from scipy.optimize import nnls

from lensbench.analysers.flat_light import READABLE_STOPS, REFERENCE_H, Blocks, LightMap, block_borders
from lensbench.analysers.numerics.rank_filters import detrended_median_filter
from lensbench.findings import NORMAL_95, Figure, ZoneFalloff
from lensbench.frame import ZONES, h_of, zone_index
from lensbench.robust import robust_sigma

PIECES = 16
"""Pieces each way into which a block on a zone's border is divided."""

LEAST_KNOWN = 0.5
"""Share of a zone's area that must be measured for its light to be given (chosen by experience)."""

OUTLIER, SPECK, OUTLIER_STOPS = 5.0, 4, 0.02
"""A block that deviates from its neighbours by so many times its noise, alone or with few others (a speck, a hot
pixel), is dirt. A larger group must deviate by so many stops: where vignetting begins a whole ring deviates from
the smooth map by half as much (checked with `tests.bench.zones`)."""

LEAST_NOISE = 2e-4
"""Standard error of a block at least, in stops, however many flats were averaged (chosen by experience)."""

FEWEST, GROUPS = 80, 8
"""Blocks needed to estimate their noise from themselves, in so many groups of similar light."""

NEIGHBOURS = np.array([[0.0, 0.25, 0.0], [0.25, 0.0, 0.25], [0.0, 0.25, 0.0]])
"""Kernel of the mean of four neighbours; a block's difference from it has 1.25 times its own variance."""

MIDDLE = len(ZONES)
"""The number, in place of a zone's, of the middle: the reference of all stops."""

DIVISION_ERROR = 1.3e-4
"""Standard error in stops that dividing the middle and the zones into blocks leaves, alike in all flats of a size
and so in no difference between blocks: up to 2e-4 in flats drawn in closed form, whose noise was as computed."""

BLACK = 2.0**-20
"""Light that counts as none."""

COMMON_ERROR = 0.045
"""Where both a zone's border and the edge of the image circle cross a block, the error of its part of the light
over the standard deviation of light within it, common to all such blocks (found with `tests.bench.light
--edges`)."""


def zone_falloff(light: LightMap, fine: Blocks | None = None) -> list[ZoneFalloff]:
    """Stops by which the mean light over each zone lies below that near the frame's middle.

    Light is averaged, not stops: what counts is how much falls on the whole zone. So a zone of which a ring cuts
    half off is one stop darker than its other half, however black the cut half is. Blocks count as measured; dirt
    is interpolated. Zones that are clipped or too dark to be measured are left out.

    Parameters
    ----------
    light : LightMap
    fine : Blocks, optional
        The light in finer blocks, where the frame shows the edge of the image circle.

    Returns
    -------
    list of ZoneFalloff
    """
    parts, noise = _Parts(light, fine), _noise(light)
    middle = parts.of(MIDDLE)
    found = []
    for number, zone in enumerate(ZONES):
        part = parts.of(number, MIDDLE) if number == 0 else parts.of(number)
        if part is None or middle is None or part.mean < middle.mean * 2.0**-READABLE_STOPS:
            continue
        change = part.light / part.light.sum() - middle.light / middle.light.sum()
        sigma = np.hypot(np.sqrt(np.sum((change * noise) ** 2)), part.common_error / part.light.sum())
        stops = float(np.log2(middle.mean / part.mean))
        sigma_stops = float(np.hypot(sigma / np.log(2), DIVISION_ERROR))
        found.append(ZoneFalloff(zone, Figure.of(stops, NORMAL_95 * sigma_stops, "stops")))
    return found


@dataclass(frozen=True, eq=False)
class _Part:
    """A part of the frame: its area in every block, the light that falls there, the common error of its sum."""

    area: NDArray[np.float64]
    light: NDArray[np.float64]
    common_error: float

    @property
    def mean(self) -> float:
        return float(self.light.sum() / self.area.sum())


class _Parts:
    """The zones and the middle: how much of each lies in every block, and how much light falls there."""

    def __init__(self, light: LightMap, fine: Blocks | None) -> None:
        x, y = (block_borders(*axis) for axis in zip((light.x, light.y), light.size, strict=True))
        width, height = np.diff(x), np.diff(y)
        self._known = light.readable | light.rough
        self._area = np.zeros((len(ZONES) + 1, *light.stops.shape))
        area = height[:, None] * width[None, :]
        number = _numbers(light.x[None, :], light.y[:, None], light.size)
        np.put_along_axis(self._area, number[None], area[None], axis=0)
        mean = _block_light(light)
        self._light = self._area * mean
        # Blocks on borders are divided by their pieces.
        rows, columns = at = _border_blocks(_numbers(x[None, :], y[:, None], light.size))
        steps = (np.arange(PIECES) + 0.5) / PIECES
        across, down = x[columns, None] + width[columns, None] * steps, y[rows, None] + height[rows, None] * steps
        number = _numbers(across[:, None, :], down[:, :, None], light.size)
        shape = _within(light, fine, at, across, down)
        self._area[:, rows, columns] = _shared(number, np.ones(shape.shape)) * area[at]
        self._light[:, rows, columns] = _shared(number, shape) * (area * mean)[at]
        self._common_error = np.zeros_like(area)
        self._common_error[at] = COMMON_ERROR * np.where(
            light.rough[at], shape.std(axis=(1, 2)) * (area * mean)[at], 0.0
        )

    def of(self, *numbers: int) -> _Part | None:
        """The part of the frame with some numbers; None where too little of it is known."""
        area = self._area[list(numbers)].sum(axis=0)
        if area[self._known].sum() <= LEAST_KNOWN * area.sum():
            return None
        light = np.where(self._known, self._light[list(numbers)].sum(axis=0), 0.0)
        return _Part(np.where(self._known, area, 0.0), light, float(self._common_error[area > 0].sum()))


def _numbers(x: NDArray, y: NDArray, size: tuple[int, int]) -> NDArray[np.int64]:
    """Which part each place lies in: a zone, or the middle."""
    return np.where(h_of(x, y, size) < REFERENCE_H, MIDDLE, zone_index(x, y, size))


def _border_blocks(corners: NDArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns of the blocks whose four corners do not all lie in one part."""
    four = np.stack([corners[:-1, :-1], corners[1:, :-1], corners[:-1, 1:], corners[1:, 1:]])
    rows, columns = np.nonzero(np.ptp(four, axis=0) > 0)
    return rows, columns


def _shared(number: NDArray, weights: NDArray) -> NDArray[np.float64]:
    """Mean over each block's pieces of the weights of those in each part, shape (parts, blocks)."""
    parts = len(ZONES) + 1
    key = np.arange(len(number))[:, None, None] * parts + number
    sums = np.bincount(key.ravel(), weights.ravel(), parts * len(number))
    return sums.reshape(-1, parts).T / PIECES**2


def _block_light(light: LightMap) -> NDArray[np.float64]:
    """The mean light of each block, as measured; where it is dirty, interpolated between its neighbours."""
    smooth = light.smooth
    residual = np.where(light.readable & ~light.rough, light.stops - smooth, 0.0)
    around = detrended_median_filter(residual, reach=3)
    deviation = residual - around
    outlying = np.abs(deviation) > OUTLIER * max(light.spread, LEAST_NOISE)
    # What is dark at the edge of the image circle, or in the frame's very corner, is no dirt.
    at_edge = light.rough.copy()
    at_edge[np.ix_([0, -1], [0, -1])] = True
    pieces, _ = label(outlying | at_edge, np.ones((3, 3)))
    few = np.bincount(pieces.ravel())[pieces] <= SPECK
    outlying &= few | (np.abs(deviation) > OUTLIER_STOPS)
    outlying &= (deviation < 0) | ~np.isin(pieces, pieces[at_edge])
    return 2.0 ** -np.where(
        light.rough, light.stops, smooth + np.where(outlying, around, residual) - light.curvature
    )


def _within(
    light: LightMap, fine: Blocks | None, at: tuple[NDArray, NDArray], across: NDArray, down: NDArray
) -> NDArray[np.float64]:
    """How light lies within some blocks, over its mean there, shape (blocks, pieces down, pieces across)."""
    rows, columns = at
    by_y, by_x = (-np.log(2) * np.asarray(slope)[at] for slope in np.gradient(light.smooth, light.y, light.x))
    shape: NDArray[np.float64] = 1 + by_x[:, None, None] * (across - light.x[columns, None])[:, None, :]
    shape = shape + by_y[:, None, None] * (down - light.y[rows, None])[:, :, None]
    rough = light.rough[at]
    if fine is None or not rough.any():
        return shape
    row, column = (
        np.interp(v[rough], axis, np.arange(len(axis))) for v, axis in ((down, fine.y), (across, fine.x))
    )
    seen = map_coordinates(fine.light, np.broadcast_arrays(row[:, :, None], column[:, None, :]), order=1)
    mean = seen.mean(axis=(1, 2), keepdims=True)
    shape[rough] = seen / np.maximum(mean, BLACK * fine.light.max())
    return shape


def _noise(light: LightMap) -> NDArray[np.float64]:
    """Standard deviation of each block's light over that light, shape (y, x).

    It is estimated from the differences of blocks from their neighbours, as a constant part (the samples' gains)
    and one inversely proportional to the light (photons).
    """
    smooth = light.smooth
    relative_light = 2.0 ** -np.where(light.rough, 0.0, smooth)
    residual = np.log(2) * (light.stops - smooth)
    difference = residual - convolve(residual, NEIGHBOURS)
    usable = minimum_filter(light.readable & ~light.rough, footprint=NEIGHBOURS + np.eye(3)[1] > 0)
    usable[[0, -1]] = usable[:, [0, -1]] = False
    if usable.sum() < FEWEST:
        return np.log(2) * light.spread / np.sqrt(relative_light)
    groups = np.array_split(np.argsort(relative_light[usable]), GROUPS)
    variance = [robust_sigma(difference[usable][group], about=0.0) ** 2 / 1.25 for group in groups]
    inverse = [np.mean(1 / relative_light[usable][group]) for group in groups]
    (constant, photons), _ = nnls(np.column_stack([np.ones(GROUPS), inverse]), np.array(variance))
    return np.sqrt(constant + photons / relative_light)
