"""Sharpness at places: the ellipse of a tile's blur, and the contrast curves along and across the radius."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY
from lensbench.analysers.sharpness_edges import EdgeTable

WORTH_REPORTING = 0.1
"""Relative standard deviation above which a figure says too little to enter a zone."""


@dataclass(frozen=True, eq=False)
class Places:
    """Tiles (or groups of blades) of one channel: MTF50 and curves along both directions; NaN where unknown."""

    x: NDArray
    y: NDArray
    first_edge: NDArray
    mtf50: NDArray
    sigma: NDArray
    curve: NDArray
    curve_sigma: NDArray


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
    mtf50, sigma = _ellipses(table, owner, axes, n)
    curve, curve_sigma = _curves_along(table, owner, axes, mtf50)
    return Places(x, y, first, mtf50, sigma, curve, curve_sigma)


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


def _ellipses(table: EdgeTable, owner: NDArray, axes: NDArray, n: int) -> tuple[NDArray, NDArray]:
    """MTF50 along each of n places' two axes, with standard deviations, shape (n, 2)."""
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
    return mtf50, np.where(known, 0.5 * _sigmas(covariance @ shaken @ covariance) * mtf50**3, np.nan)


def _moments(who: NDArray, row: NDArray, weight: NDArray, n: int) -> NDArray:
    """Σ weight row row' of each of n places, shape (n, 3, 3)."""
    terms = [[np.bincount(who, weight * row[:, i] * row[:, j], n) for j in range(3)] for i in range(3)]
    return np.array(terms, dtype=float).transpose(2, 0, 1)


def _sigmas(covariance: NDArray) -> NDArray:
    """Standard deviations along both axes, shape (n, 2)."""
    return np.sqrt(covariance[:, [0, 1], [0, 1]])


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
