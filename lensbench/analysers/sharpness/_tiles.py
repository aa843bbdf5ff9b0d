"""Sharpness at places: the ellipse of a tile's blur, and the contrast curves along and across the radius."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY
from lensbench.analysers.sharpness._edges import EdgeTable

WORTH_REPORTING = 0.1
"""Relative standard deviation above which a figure says too little to enter a zone."""


@dataclass(frozen=True, eq=False)
class Places:
    """Tiles (or groups of blades) of one channel: MTF50 and curves along both directions; NaN where unknown.

    `sigma` is by noise, `bulge` what blur that is no ellipse leaves unsure, alike in all shots of a tile; `tile`
    says which places are one tile in several shots.
    """

    x: NDArray
    y: NDArray
    tile: NDArray
    first_edge: NDArray
    mtf50: NDArray
    sigma: NDArray
    bulge: NDArray
    curve: NDArray
    curve_sigma: NDArray

    @property
    def unsure(self) -> NDArray:
        """Standard deviations of the places' own figures, shape (n, 2)."""
        return np.hypot(self.sigma, self.bulge)

    def sigma_of_mean(self, chosen: NDArray, k: int) -> float:
        """Standard deviation of the mean of some places' figures along axis k."""
        noise = np.sqrt((self.sigma[chosen, k] ** 2).sum()) / chosen.sum()
        return float(np.hypot(noise, self.bulge_of_mean(chosen, k)))

    def bulge_of_mean(self, chosen: NDArray, k: int) -> float:
        """What blur that is no ellipse has in that."""
        bulges = np.bincount(self.tile[chosen], self.bulge[chosen, k])
        return float(np.sqrt((bulges**2).sum()) / chosen.sum())


def find_places(table: EdgeTable, size: tuple[int, int]) -> Places:
    """Both directions' MTF50 and curves at every tile or group of blades, from its good edges."""
    number, first = np.unique(table.place, return_index=True)
    n = len(number)
    owner = np.searchsorted(number, table.place)
    x = np.bincount(owner, table.x, n) / np.bincount(owner, minlength=n)
    y = np.bincount(owner, table.y, n) / np.bincount(owner, minlength=n)
    outward, around = frame.radial_axes(x, y, size)
    ends = np.stack(
        [around, outward], axis=1
    )  # a sagittal edge's normal points around, a tangential one's outward
    axes = _axes_of_edges(table, owner, ends, size)
    mtf50, sigma, lever = _ellipses(table, owner, axes, n)
    mtf50, bulge = _without_bulge(x, y, mtf50, sigma, lever)
    curve, curve_sigma = _curves_along(table, owner, axes, mtf50)
    return Places(x, y, _tiles(table, first), first, mtf50, sigma, bulge, curve, curve_sigma)


def _tiles(table: EdgeTable, first: NDArray) -> NDArray:
    """Numbers that places of one tile in several shots share; groups of free edges have their own."""
    free = table.leg[first] == "blade"
    names = np.stack([np.where(free, -1, table.column[first]), np.where(free, first, table.row[first])])
    return np.unique(names, axis=1, return_inverse=True)[1].ravel()


def _axes_of_edges(table: EdgeTable, owner: NDArray, ends: NDArray, size: tuple[int, int]) -> NDArray:
    """The two axes to hold each edge's normal against: its tile's, or its own where free edges lie apart.

    In the centre the radius turns from edge to edge while the blur doesn't; there free edges share upright axes.
    """
    axes = ends[owner]
    free = table.leg == "blade"
    x, y = table.x[free], table.y[free]
    central = frame.zone_index(x, y, size) == 0
    cx, cy = frame.centre_of(size)
    outward, around = frame.radial_axes(np.where(central, cx, x), np.where(central, cy, y), size)
    axes[free] = np.stack([around, outward], axis=1)
    return axes


CROSS_TERM = 0.3
"""How far a lens's blur ellipse may be expected to lean off the radius where a tile's edges don't tell ..."""


OTHER_WAY = 1.0
"""... and how far 1 / MTF50² the other way from that of the edges measured, as shares of that."""


UNLIKE = 0.04
"""How far MTF50 of free edges near each other may differ for all that one ellipse can tell."""


def _ellipses(table: EdgeTable, owner: NDArray, axes: NDArray, n: int) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50 along each of n places' two axes, with standard deviations, shape (n, 2).

    The third result says how the logarithms of MTF50 rise with what 1 / MTF50² bulges beyond an ellipse, as a
    share of its mean, half-way between the axes; see `_without_bulge`.
    """
    good = (table.why == "") & (table.sigma > 0)
    who, normal = owner[good], table.normal[good]
    a, b = (np.einsum("ec,ec->e", normal, axes[good, k]) for k in (0, 1))
    row = np.stack([a * a, b * b, 2 * a * b], axis=1)
    value = table.mtf50[good] ** -2
    noise = 2 * table.sigma[good] * table.mtf50[good] ** -3
    trust = 1 / np.maximum(noise, np.where(table.leg[good] == "blade", 2 * UNLIKE * value, 0)) ** 2
    mean = np.bincount(who, value, n) / np.maximum(np.bincount(who, minlength=n), 1)
    mean = np.where(mean > 0, mean, 1.0)[:, None]
    # Flat enough to leave three measured edges alone, firm enough that two legs can do without the third.
    prior = np.array([OTHER_WAY, OTHER_WAY, CROSS_TERM]) ** -2 / mean**2
    covariance = np.linalg.inv(_moments(who, row, trust, n) + prior[:, None] * np.eye(3))
    right = np.stack([np.bincount(who, row[:, i] * trust * value, n) for i in range(3)], axis=1)
    right = right + prior * mean * [1, 1, 0]
    form, blown_up = np.einsum("nij,nj->ni", covariance, right)[:, :2], _sigmas(covariance)
    shaken = _moments(who, row, (trust * noise) ** 2, n) + prior[:, None] * np.eye(3)
    known = (form > 0) & (blown_up < 2 * WORTH_REPORTING * np.abs(form))
    mtf50 = np.where(known, np.maximum(form, 1e-12) ** -0.5, np.nan)
    bulge = np.where(table.leg[good] == "blade", 0, (2 * a * b) ** 2) * trust * mean[who, 0]
    pull = np.stack([np.bincount(who, row[:, i] * bulge, n) for i in range(3)], axis=1)
    lever = -0.5 * np.einsum("nij,nj->ni", covariance, pull)[:, :2] * mtf50**2
    return mtf50, np.where(known, 0.5 * _sigmas(covariance @ shaken @ covariance) * mtf50**3, np.nan), lever


def _moments(who: NDArray, row: NDArray, weight: NDArray, n: int) -> NDArray:
    """Σ weight row row' of each of n places, shape (n, 3, 3)."""
    terms = [[np.bincount(who, weight * row[:, i] * row[:, j], n) for j in range(3)] for i in range(3)]
    return np.array(terms, dtype=float).transpose(2, 0, 1)


def _sigmas(covariance: NDArray) -> NDArray:
    """Standard deviations along both axes, shape (n, 2)."""
    return np.sqrt(covariance[:, [0, 1], [0, 1]])


AROUND = 16
"""Places, its own among them, through whose figures a smooth field is laid at each place."""

POOLED = 24
"""Places nearest to each that tell of its bulge together."""

USUAL_BULGE = 0.05
"""How far blur bulges beyond an ellipse, as a share of 1 / MTF50²: coma, astigmatism near focus, pixels ..."""

UNEVEN_BULGE = 0.015
"""... and by how much that changes from place to place."""


def _without_bulge(
    x: NDArray, y: NDArray, mtf50: NDArray, sigma: NDArray, lever: NDArray
) -> tuple[NDArray, NDArray]:
    """Take off what places' figures have wrong since blur is no true ellipse; also gives how unsure the rest is.

    The long sides stand half-way between the axes, where such blur bulges most, and pass for a lean of the
    ellipse; that misleads each tile by its own twist, this way or that. The field itself knows nothing of the
    twists, so what the figures around a place have of them shows the bulge.

    Parameters
    ----------
    mtf50, sigma : ndarray, shape (n, 2)
        Along both axes; NaN where unknown.
    lever : ndarray, shape (n, 2)
        As `_ellipses` gives it.
    """
    result, left = mtf50.copy(), np.full(mtf50.shape, np.nan)
    for k in (0, 1):
        known = np.flatnonzero(np.isfinite(mtf50[:, k]))
        twist = lever[known, k]
        bulge, unsure = np.zeros(len(known)), np.full(len(known), USUAL_BULGE)
        if len(known) >= AROUND:
            figure = np.log(mtf50[known, k])
            bulge, unsure = _bulges(x[known], y[known], figure, sigma[known, k] / mtf50[known, k], twist)
        result[known, k] = mtf50[known, k] * np.exp(-bulge * twist)
        left[known, k] = np.abs(mtf50[known, k] * unsure * twist)
    return result, left


def _bulges(x: NDArray, y: NDArray, figure: NDArray, noise: NDArray, twist: NDArray) -> tuple[NDArray, NDArray]:
    """The bulge at each place and its standard deviation, from how figures around it go with their twists."""
    (off, by_twist), near = _off_field(x, y, figure, twist)
    off, by_twist = off[near], by_twist[near]
    scatter = np.maximum(1.4826 * np.median(np.abs(off), axis=1), np.median(noise[near], axis=1))[:, None]
    weight = 1 / (1 + (off / (3 * scatter)) ** 2) / scatter**2
    firm = (weight * by_twist**2).sum(axis=1) + USUAL_BULGE**-2
    return (weight * by_twist * off).sum(axis=1) / firm, np.hypot(firm**-0.5, UNEVEN_BULGE)


def _off_field(x: NDArray, y: NDArray, *values: NDArray) -> tuple[list[NDArray], NDArray]:
    """How far values at places lie off curved surfaces through those around, and which places lie near each."""
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    order = np.argsort(away, axis=1, kind="stable")
    near = order[:, :AROUND]
    reach = away[np.arange(len(x))[:, None], near].max(axis=1, keepdims=True)
    u, v = (x[near] - x[:, None]) / reach, (y[near] - y[:, None]) / reach
    shapes = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=2)
    # A surface's height at the place itself is its first term.
    weights = np.linalg.pinv(shapes, rcond=1e-4)[:, 0]
    return [value - np.einsum("nk,nk->n", weights, value[near]) for value in values], order[:, :POOLED]


NEAR_AXIS = np.cos(np.radians(25))


def _curves_along(table, owner, axes, mtf50):
    """The curve along each axis: that of the edge that faces it most nearly, stretched to the exact MTF50."""
    curve, sigma = np.full((2, len(mtf50), 2, len(FREQUENCY)), np.nan)
    facing = np.abs(np.einsum("ec,ekc->ek", table.normal, axes))
    facing[table.why != ""] = 0
    for k in (0, 1):
        order = np.lexsort((-facing[:, k], owner))
        best = order[np.unique(owner[order], return_index=True)[1]]
        for place in np.flatnonzero((facing[best, k] > NEAR_AXIS) & np.isfinite(mtf50[:, k])):
            e = best[place]
            stretched = FREQUENCY * table.mtf50[e] / mtf50[place, k]
            curve[place, k] = np.interp(stretched, FREQUENCY, table.mtf[e])
            sigma[place, k] = np.interp(stretched, FREQUENCY, table.mtf_sigma[e])
    return curve, sigma
