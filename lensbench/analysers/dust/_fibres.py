"""Fibres: a path, and the profile across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._mark_profile import cutoff_radius, relative_depth
from lensbench.analysers.dust._paths import extended, least_distance, normals, resampled
from lensbench.analysers.dust._residual import Residual
from lensbench.findings import Figure

JOIN_PX = 16.0
"""Fibres whose ends lie closer than this, and in line, are one (chosen by experience)."""

JOIN_POINTS = 20
"""Points at the end of a path that give its direction there."""


@dataclass(frozen=True, eq=False)
class Fibre:
    """A fibre's shadow: depth × exp(−ln 2 · (2 · distance / width)^steepness) around a path.

    Attributes
    ----------
    path : ndarray, shape (points, 2)
        Its centre line in pixels, a point a cell or so.
    steepness : float
        Of the rims: 2 is a Gaussian.
    width, length : Figure
        Across at half depth, and along, in pixels.
    depth : Figure
        In percent of the light around, darker positive.
    signal_to_noise : float
        Of the filter matched to it.
    """

    path: NDArray[np.float64]
    steepness: float
    width: Figure
    length: Figure
    depth: Figure
    signal_to_noise: float

    @property
    def x(self) -> float:
        """Position of its central point, in pixels."""
        return float(self.path[len(self.path) // 2, 0])

    @property
    def y(self) -> float:
        """Position of its central point, in pixels."""
        return float(self.path[len(self.path) // 2, 1])

    def distance(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Distance of positions to the path in pixels; far from it to within a few percent."""
        positions = np.stack([np.ravel(x), np.ravel(y)], axis=1).astype(float)
        thin = self.path[:: max(len(self.path) // 40, 1)]
        near = least_distance(positions, np.concatenate([thin, self.path[-1:]]))
        gap = np.hypot(*np.diff(thin, axis=0).T).max(initial=1.0)
        close = near < self.reach + 10 * gap
        near[close] = least_distance(positions[close], self.path)
        return near.reshape(np.shape(x))

    def radius(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Distance from the path at positions in pixels, in units of that at half depth."""
        return 2 * self.distance(x, y) / self.width.value

    @property
    def reach(self) -> float:
        """Distance from the path at which its shadow ends."""
        return cutoff_radius(self.steepness) * self.width.value / 2

    @property
    def box(self) -> Box:
        """The part of the frame that it changes."""
        return Box(*self.path.min(axis=0), *self.path.max(axis=0)).grown(self.reach + CELL_PX)

    def subtract_from(self, z: NDArray[np.float32], residual: Residual, share: float = 1.0) -> None:
        """Subtract a share of its shadow from cells, in place (-1 adds it back)."""
        path = (self.path - (CELL_PX - 1) / 2) / CELL_PX
        reach = self.reach / CELL_PX
        offsets = np.arange(-reach, reach + 0.5, 0.5)
        fine = resampled(path, 0.5)
        # The shadow of an end is round: cells beyond it count from there.
        longer = extended(fine, reach, 0.5)
        beyond = (len(longer) - len(fine)) // 2
        nearest = np.pad(fine, ((beyond, beyond), (0, 0)), mode="edge")
        cells_around = np.rint(longer[:, None] + offsets[:, None] * normals(longer)[:, None]).astype(int)
        column, row = cells_around.reshape(-1, 2).T
        inside = (row >= 0) & (row < z.shape[0]) & (column >= 0) & (column < z.shape[1])
        away = np.hypot(*(cells_around - nearest[:, None]).reshape(-1, 2).T)[inside]
        cells, number = np.unique(row[inside] * z.shape[1] + column[inside], return_inverse=True)
        distance = np.full(len(cells), np.inf)
        np.minimum.at(distance, number, away)
        rows, columns = np.divmod(cells, z.shape[1])
        strength = residual.strength_at(columns * CELL_PX, rows * CELL_PX)
        profile = relative_depth(2 * CELL_PX * distance / self.width.value, self.steepness)
        shadow = share * self.depth.value / 100 * strength * profile
        z[rows, columns] -= shadow.astype(np.float32)


def joined_paths(one: Fibre, other: Fibre) -> NDArray[np.float64] | None:
    """The path of two fibres of one sign of which one continues the other; None where neither does."""
    if one.depth.value * other.depth.value < 0:
        return None
    room = JOIN_PX + one.width.value + other.width.value
    for first in (one.path, one.path[::-1]):
        for second in (other.path, other.path[::-1]):
            gaps = np.hypot(*(second - first[-1]).T)
            # They may overlap.
            start = int(np.argmin(gaps))
            rest = second[start:]
            if gaps[start] > room or len(rest) < 5:
                continue
            ways = (
                first[-1] - first[-min(JOIN_POINTS, len(first))],
                rest[min(JOIN_POINTS, len(rest)) - 1] - rest[0],
            )
            along = [way @ (rest[-1] - first[0]) for way in ways]
            if ways[0] @ ways[1] > 0 and min(along) > 0:
                return np.concatenate([first, rest])
    return None
