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

PIECES = 16
"""Pieces each way into which a block is cut that a zone's border runs through."""

LEAST_KNOWN = 0.5
"""Share of a zone's area that must be known for its light to be told."""

ODD, SPECK, LEAST_ODD = 5.0, 4, 0.02
"""A block is dirty that stands out from its neighbours by so many times its noise, alone or with few others (a
speck, a hot pixel). More of them must stand out by so many stops: where a rim begins to cut the light a whole ring
leaves the smooth map by half as much."""

LEAST_NOISE = 2e-4
"""Stops by which blocks may differ at least, however many flats were averaged."""

FEWEST, GROUPS = 80, 8
"""Blocks from which on their noise is read off themselves, in so many groups of like light."""

AROUND = np.array([[0.0, 0.25, 0.0], [0.25, 0.0, 0.25], [0.0, 0.25, 0.0]])
"""The mean of a block's four neighbours; what it differs from them by has 1.25 times its own variance."""

MIDDLE = len(ZONES)
"""What has this number in place of a zone's is the middle, from which stops are counted."""

BLACK = 2.0**-20
"""Light that counts as none."""

UNSEEN = 0.045
"""Where both a zone's border and a hard edge cut a block, its part of the light may be off by so much of the
spread of light within it, alike in all such blocks (as found on edges of known shape)."""


def zone_falloff(light: LightMap, fine: Blocks | None = None) -> list[ZoneFalloff]:
    """Stops by which the mean light over each zone lies below that near the frame's middle.

    Light is averaged, not stops: what counts is how much falls on the whole zone. So a zone of which a ring cuts
    half off is one stop darker than its other half, however black the cut half is. Blocks count as measured;
    under dirt the light around it goes on. Zones that are clipped or too dark to be read are left out.

    Parameters
    ----------
    light : LightMap
    fine : Blocks, optional
        The light in finer blocks, where a hard edge cuts it.
    """
    parts, noise = _Parts(light, fine), _noise(light)
    middle = parts.of(MIDDLE)
    found = []
    for number, zone in enumerate(ZONES):
        part = parts.of(number, MIDDLE) if number == 0 else parts.of(number)
        if part is None or middle is None or part.mean < middle.mean * 2.0**-READABLE_STOPS:
            continue
        change = part.light / part.light.sum() - middle.light / middle.light.sum()
        sigma = np.hypot(np.sqrt(np.sum((change * noise) ** 2)), part.doubt / part.light.sum())
        stops = float(np.log2(middle.mean / part.mean))
        found.append(ZoneFalloff(zone, Figure.of(stops, NORMAL_95 * sigma / np.log(2), "stops")))
    return found


@dataclass(frozen=True, eq=False)
class _Part:
    """A part of the frame: its area in every block, the light that falls there, and the doubt about its sum."""

    area: NDArray[np.float64]
    light: NDArray[np.float64]
    doubt: float

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
        # Blocks that borders run through are shared out by their pieces.
        at = rows, columns = np.nonzero(_differ(_numbers(x[None, :], y[:, None], light.size)))
        steps = (np.arange(PIECES) + 0.5) / PIECES
        across, down = x[columns, None] + width[columns, None] * steps, y[rows, None] + height[rows, None] * steps
        number = _numbers(across[:, None, :], down[:, :, None], light.size)
        shape = _within(light, fine, at, across, down)
        for lies_over, kind in ((None, self._area), (shape, self._light)):
            kind[:, *at] = _shared(number, lies_over) * (area if lies_over is None else area * mean)[at]
        self._doubt = np.zeros_like(area)
        self._doubt[at] = UNSEEN * np.where(light.rough[at], shape.std(axis=(1, 2)) * (area * mean)[at], 0.0)

    def of(self, *numbers: int) -> _Part | None:
        """The part of the frame with some numbers; None where too little of it is known."""
        area = self._area[list(numbers)].sum(axis=0)
        if area[self._known].sum() <= LEAST_KNOWN * area.sum():
            return None
        light = np.where(self._known, self._light[list(numbers)].sum(axis=0), 0.0)
        return _Part(np.where(self._known, area, 0.0), light, float(self._doubt[area > 0].sum()))


def _numbers(x: NDArray, y: NDArray, size: tuple[int, int]) -> NDArray[np.int64]:
    """Which part each place lies in: a zone, or the middle."""
    return np.where(h_of(x, y, size) < REFERENCE_H, MIDDLE, zone_index(x, y, size))


def _differ(corners: NDArray) -> NDArray[np.bool_]:
    """Blocks whose four corners do not all lie in one part."""
    four = np.stack([corners[:-1, :-1], corners[1:, :-1], corners[:-1, 1:], corners[1:, 1:]])
    return np.ptp(four, axis=0) > 0


def _shared(number: NDArray, weights: NDArray | None) -> NDArray[np.float64]:
    """How much of each block's pieces belongs to each part, shape (parts, blocks)."""
    parts = len(ZONES) + 1
    key = np.arange(len(number))[:, None, None] * parts + number
    sums = np.bincount(key.ravel(), None if weights is None else weights.ravel(), parts * len(number))
    return sums.reshape(-1, parts).T / PIECES**2


def _block_light(light: LightMap) -> NDArray[np.float64]:
    """The mean light of each block, as measured; where dirt stands out from its neighbours, as theirs goes on."""
    smooth = light.smooth
    off = np.where(light.readable & ~light.rough, light.stops - smooth, 0.0)
    around = detrended_median_filter(off, reach=3)
    apart = off - around
    odd = np.abs(apart) > ODD * max(light.spread, LEAST_NOISE)
    # What is dark at a hard edge, or in the frame's very corner, is no dirt but belongs to an edge.
    at_edge = light.rough.copy()
    at_edge[np.ix_([0, -1], [0, -1])] = True
    pieces, _ = label(odd | at_edge, np.ones((3, 3)))
    few = np.bincount(pieces.ravel())[pieces] <= SPECK
    odd &= few | (np.abs(apart) > LEAST_ODD)
    odd &= (apart < 0) | ~np.isin(pieces, pieces[at_edge])
    return 2.0 ** -np.where(light.rough, light.stops, smooth + np.where(odd, around, off) - light.curvature)


def _within(
    light: LightMap, fine: Blocks | None, at: tuple[NDArray, NDArray], across: NDArray, down: NDArray
) -> NDArray[np.float64]:
    """How light lies within some blocks, over its mean there, shape (blocks, pieces down, pieces across)."""
    rows, columns = at
    by_y, by_x = (-np.log(2) * slope[at] for slope in np.gradient(light.smooth, light.y, light.x))
    shape = 1 + by_x[:, None, None] * (across - light.x[columns, None])[:, None, :]
    shape = shape + by_y[:, None, None] * (down - light.y[rows, None])[:, :, None]
    rough = light.rough[at]
    if fine is None or not rough.any():
        return shape
    places = (np.interp(v[rough], axis, np.arange(len(axis))) for v, axis in ((down, fine.y), (across, fine.x)))
    row, column = places
    seen = map_coordinates(fine.light, np.broadcast_arrays(row[:, :, None], column[:, None, :]), order=1)
    mean = seen.mean(axis=(1, 2), keepdims=True)
    shape[rough] = seen / np.maximum(mean, BLACK * fine.light.max())
    return shape


def _noise(light: LightMap) -> NDArray[np.float64]:
    """Standard deviation of each block's light over that light, shape (y, x).

    It is read off what blocks differ by from their neighbours, as a part that all have alike (the samples' gains)
    and one that grows as the light fades (photons).
    """
    smooth = light.smooth
    shown = 2.0 ** -np.where(light.rough, 0.0, smooth)
    off = np.log(2) * (light.stops - smooth)
    off -= convolve(off, AROUND)
    usable = minimum_filter(light.readable & ~light.rough, footprint=AROUND + np.eye(3)[1] > 0)
    usable[[0, -1]] = usable[:, [0, -1]] = False
    if usable.sum() < FEWEST:
        return np.log(2) * light.spread / np.sqrt(shown)
    off, lit = np.abs(off[usable]), shown[usable]
    groups = np.array_split(np.argsort(lit), GROUPS)
    variance = [(1.4826 * np.median(off[group])) ** 2 / 1.25 for group in groups]
    fading = [np.mean(1 / lit[group]) for group in groups]
    (alike, photons), _ = nnls(np.column_stack([np.ones(GROUPS), fading]), np.array(variance))
    return np.sqrt(alike + photons / shown)
