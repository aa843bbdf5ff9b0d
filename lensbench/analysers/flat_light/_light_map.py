"""An even light as a map: a smooth surface through the block means in stops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.flat_light._block_means import block_borders, nearest_blocks
from lensbench.analysers.numerics.surfaces import Surface, fit_robust_surface
from lensbench.frame import half_diagonal
from lensbench.robust import robust_sigma

REFERENCE_H = 0.1
"""Falloff is counted in stops below the mean light within this distance of the frame's centre."""

LEAST_SIGMA = 1e-3
"""Least standard deviation of a block from the smooth map, in stops (chosen by experience)."""

MAP_STOPS = 1.5e-3
"""Standard error of the smooth map near the edge of the image circle, in stops (study: tests/bench/light.py)."""


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
        As measured; where that is impossible, an upper limit of the darkness or anything finite.
    weight : ndarray, shape (y, x)
        0 where a block could not be measured.
    rough : ndarray of bool, shape (y, x)
        Where the edge of the image circle cuts the light, or none is left, so that the map is as measured instead
        of smooth.
    curvature : ndarray, shape (y, x)
        Stops at the middle of each block less those of its mean light: what the light's curvature changes there.
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
    curvature: NDArray[np.float64]
    surface: Surface
    spread: float

    @property
    def smooth(self) -> NDArray[np.float64]:
        """The smooth map at the blocks' centres, shape (y, x)."""
        return self.surface.on_grid(self.x, self.y)

    @property
    def readable(self) -> NDArray[np.bool_]:
        """Which blocks could be measured, shape (y, x)."""
        return self.weight > 0

    def on_grid(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The map at all pairs of x and y, shape (y, x): smooth, or as measured beyond the image circle."""
        values = self.surface.on_grid(x, y)
        if self.rough.any():
            near = self._nearest(x, y)
            values = np.where(self.rough[near], self.stops[near], values)
        return values

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The map at single positions, as `on_grid`; NaN where samples are clipped."""
        row, column = nearest_blocks(self.y, y), nearest_blocks(self.x, x)
        values = np.where(self.rough[row, column], self.stops[row, column], self.surface.at(x, y))
        return np.where((self.readable | self.rough)[row, column], values, np.nan)

    def readable_on(self, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
        """Whether the nearest block could be measured, at all pairs of x and y, shape (y, x)."""
        return self.readable[self._nearest(x, y)]

    def _nearest(self, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        return nearest_blocks(self.y, y)[:, None], nearest_blocks(self.x, x)[None, :]


def fit_light(
    size: tuple[int, int], x: NDArray, y: NDArray, stops: NDArray, weight: NDArray, rough: NDArray[np.bool_]
) -> LightMap:
    """Fit a smooth surface to a grid of stops, and count them from the middle.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops, weight : ndarray, shape (y, x)
        Stops from any zero, positive is darker, and how much each counts.
    rough : ndarray of bool, shape (y, x)
        Blocks that the surface doesn't follow.

    Returns
    -------
    LightMap
    """
    trusted = np.where(rough, 0.0, weight)
    surface, _ = fit_robust_surface(stops, trusted, x, y, size, LEAST_SIGMA)
    curvature = np.where(rough, 0.0, _curvature_within(surface, x, y))
    stops = stops + curvature
    surface, trust = fit_robust_surface(stops, trusted, x, y, size, LEAST_SIGMA)
    residual = (stops - surface.on_grid(x, y))[(trusted > 0) & (trust > 0.5)]
    spread = robust_sigma(residual) if len(residual) else 0.0
    reference = _reference(surface, size)
    level = Surface(size, surface.coefficients - reference)
    return LightMap(size, x, y, stops - reference, weight, rough, curvature, level, spread)


def _curvature_within(surface: Surface, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Stops at the middle of each block less those of its mean light."""
    light = 2.0 ** -surface.on_grid(x, y)
    across, down = (np.diff(block_borders(*axis)) / 2 for axis in zip((x, y), surface.size, strict=True))
    ends = [surface.on_grid(x + side * across, y) for side in (-1, 1)]
    ends += [surface.on_grid(x, y + side * down) for side in (-1, 1)]
    # Simpson's rule along either axis.
    excess = (np.sum([2.0**-stops for stops in ends], axis=0) - 4 * light) / 6
    return np.log2(1 + np.clip(excess / light, -0.1, 0.1))


def _reference(surface: Surface, size: tuple[int, int]) -> float:
    """Stops of the mean light within `REFERENCE_H` of the frame's centre."""
    reach = REFERENCE_H * half_diagonal(size)
    steps = np.linspace(-reach, reach, 41)
    x, y = (size[0] - 1) / 2 + steps, (size[1] - 1) / 2 + steps
    inside = np.hypot(steps[None, :], steps[:, None]) <= reach
    return -float(np.log2(np.mean(2.0 ** -surface.on_grid(x, y)[inside])))
