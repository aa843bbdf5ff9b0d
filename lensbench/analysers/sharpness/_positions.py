"""Sharpness at positions: sagittal and tangential MTF50 and curves at every tile or group of free edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY
from lensbench.analysers.sharpness._blur_ellipse import fit_ellipses
from lensbench.analysers.sharpness._edge_table import EdgeTable
from lensbench.analysers.sharpness._non_elliptic import corrected

NEAR_AXIS = np.cos(np.radians(25))
"""An edge gives the curve along an axis where its normal lies within 25° of it (chosen by experience)."""


@dataclass(frozen=True, eq=False)
class Positions:
    """Tiles of shots, or groups of free edges, in one channel; NaN where a figure is unknown.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        In pixels.
    tile : ndarray of int, shape (n,)
        The tile; the same number for one tile in several shots.
    shot : ndarray of int, shape (n,)
        The shot.
    first_edge : ndarray of int, shape (n,)
        A row of the edge table that belongs to the position.
    mtf50 : ndarray, shape (n, 2)
        Sagittal and tangential, cy/px.
    noise_sigma : ndarray, shape (n, 2)
        Standard deviation by noise, independent from position to position.
    excess_sigma : ndarray, shape (n, 2)
        Standard deviation by what blur that is no ellipse leaves open, the same in all shots of a tile.
    curve, curve_sigma : ndarray, shape (n, 2, frequencies)
        MTF at `FREQUENCY` and its standard deviation.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    tile: NDArray[np.int64]
    shot: NDArray[np.int64]
    first_edge: NDArray[np.int64]
    mtf50: NDArray[np.float64]
    noise_sigma: NDArray[np.float64]
    excess_sigma: NDArray[np.float64]
    curve: NDArray[np.float64]
    curve_sigma: NDArray[np.float64]

    @property
    def sigma(self) -> NDArray[np.float64]:
        """Standard deviations of the positions' own figures, shape (n, 2)."""
        return np.hypot(self.noise_sigma, self.excess_sigma)

    def sigma_of_mean(self, chosen: NDArray[np.bool_], k: int) -> float:
        """Standard deviation of the mean of some positions' figures along axis k."""
        noise = np.sqrt((self.noise_sigma[chosen, k] ** 2).sum()) / chosen.sum()
        return float(np.hypot(noise, self.excess_sigma_of_mean(chosen, k)))

    def excess_sigma_of_mean(self, chosen: NDArray[np.bool_], k: int) -> float:
        """The part of it that blur that is no ellipse has."""
        by_tile = np.bincount(self.tile[chosen], self.excess_sigma[chosen, k])
        return float(np.sqrt((by_tile**2).sum()) / chosen.sum())


def find_positions(table: EdgeTable, size: tuple[int, int]) -> Positions:
    """Both directions' MTF50 and curves at every tile or group of free edges, from its used edges.

    Parameters
    ----------
    table : EdgeTable
        The edges of one channel.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    Positions
    """
    number, first = np.unique(table.position, return_index=True)
    n = len(number)
    owner = np.searchsorted(number, table.position)
    x, y = _places(table, owner, n)
    axes = _axes_of_edges(table, _axes(x, y, size)[owner], size)
    ellipses = fit_ellipses(table, owner, axes, n)
    mtf50, excess_sigma = corrected(x, y, ellipses)
    curve, curve_sigma = _curves_along(table, owner, axes, mtf50)
    tile, shot = _tiles(table, first), np.unique(table.shot[first], return_inverse=True)[1].ravel()
    return Positions(x, y, tile, shot, first, mtf50, ellipses.sigma, excess_sigma, curve, curve_sigma)


def _places(table: EdgeTable, owner: NDArray, n: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where positions are, x and y: the mean of their used edges, or of all where none is used.

    Where the frame's border cuts a tile, an edge that is left out may lie outside, where nothing was measured.
    """
    counts = table.used | (np.bincount(owner, table.used, n) == 0)[owner]
    number = np.bincount(owner, counts, n)
    return np.bincount(owner, counts * table.x, n) / number, np.bincount(owner, counts * table.y, n) / number


def _axes(x: NDArray, y: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """Around and outward: the normals of a sagittal and of a tangential edge, shape (n, 2, 2)."""
    outward, around = frame.radial_axes(x, y, size)
    return np.stack([around, outward], axis=1)


def _axes_of_edges(table: EdgeTable, axes: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """The two axes to refer each edge's normal to: its tile's, or for free edges those at the edge itself.

    In the centre the radius turns from edge to edge while the blur doesn't; there free edges share upright axes.
    """
    free = table.free
    x, y = table.x[free], table.y[free]
    central = frame.zone_index(x, y, size) == 0
    cx, cy = frame.centre_of(size)
    axes = axes.copy()
    axes[free] = _axes(np.where(central, cx, x), np.where(central, cy, y), size)
    return axes


def _tiles(table: EdgeTable, first: NDArray) -> NDArray[np.int64]:
    """Numbers that positions of one tile in several shots share; groups of free edges have their own."""
    free = table.free[first]
    names = np.stack([np.where(free, -1, table.column[first]), np.where(free, first, table.row[first])])
    return np.unique(names, axis=1, return_inverse=True)[1].ravel()


def _curves_along(
    table: EdgeTable, owner: NDArray, axes: NDArray, mtf50: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The curve along each axis: that of the edge whose normal is nearest to it, scaled to the exact MTF50."""
    curve, sigma = np.full((2, len(mtf50), 2, len(FREQUENCY)), np.nan)
    facing = np.abs(np.einsum("ec,ekc->ek", table.normal, axes))
    facing[~table.used] = 0
    for k in (0, 1):
        order = np.lexsort((-facing[:, k], owner))
        best = order[np.unique(owner[order], return_index=True)[1]]
        for position in np.flatnonzero((facing[best, k] > NEAR_AXIS) & np.isfinite(mtf50[:, k])):
            edge = best[position]
            scaled = FREQUENCY * table.mtf50[edge] / mtf50[position, k]
            curve[position, k] = np.interp(scaled, FREQUENCY, table.mtf[edge])
            sigma[position, k] = np.interp(scaled, FREQUENCY, table.mtf_sigma[edge])
    return curve, sigma
