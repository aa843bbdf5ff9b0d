"""The ellipse of the blur at each position: 1 / MTF50² along a normal n as n·S·n."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.sharpness._edge_table import EdgeTable

MOST_RELATIVE_SIGMA = 0.1
"""Relative standard deviation of MTF50 above which a figure does not enter a zone."""

CROSS_TERM_SIGMA = 0.3
"""Prior of the ellipse's cross term, where a tile's edges don't determine it ..."""

ACROSS_SIGMA = 1.0
"""... and of 1 / MTF50² in a direction that no edge shows, both as shares of the mean 1 / MTF50² of the edges
(chosen by experience; their intervals: `tests/bench/zones.py`)."""

FREE_EDGE_SIGMA = 0.04
"""Relative standard deviation of MTF50 of free edges near each other about one ellipse (chosen by experience)."""


class Ellipses(NamedTuple):
    """MTF50 along two axes at n positions, shape (n, 2) each; NaN where unknown.

    `sigma` is its standard deviation by noise, `sensitivity` the derivative of ln MTF50 by the non-elliptic
    excess: what 1 / MTF50² half-way between the axes exceeds the ellipse by, as a share of its mean.
    """

    mtf50: NDArray[np.float64]
    sigma: NDArray[np.float64]
    sensitivity: NDArray[np.float64]


def fit_ellipses(table: EdgeTable, owner: NDArray, axes: NDArray, n: int) -> Ellipses:
    """Fit an ellipse to the used edges of each position.

    Parameters
    ----------
    table : EdgeTable
        The edges.
    owner : ndarray of int, shape (edges,)
        The position, 0 to n - 1, of each edge.
    axes : ndarray, shape (edges, 2, 2)
        The two axes, unit vectors, at each edge's position.
    n : int
        How many positions there are.

    Returns
    -------
    Ellipses
    """
    good = table.used & (table.sigma > 0)
    who, normal, free = owner[good], table.normal[good], table.free[good]
    a, b = (np.einsum("ec,ec->e", normal, axes[good, k]) for k in (0, 1))
    row = np.stack([a * a, b * b, 2 * a * b], axis=1)
    value = table.mtf50[good] ** -2
    noise = 2 * table.sigma[good] * table.mtf50[good] ** -3
    weight = 1 / np.maximum(noise, np.where(free, 2 * FREE_EDGE_SIGMA * value, 0)) ** 2
    plain_mean = np.bincount(who, value, n) / np.maximum(np.bincount(who, minlength=n), 1)
    mean = np.where(plain_mean > 0, plain_mean, 1.0)[:, None]
    # Wide enough not to bias three measured edges, narrow enough that two legs determine both axes.
    prior = np.array([ACROSS_SIGMA, ACROSS_SIGMA, CROSS_TERM_SIGMA]) ** -2 / mean**2
    covariance = np.linalg.inv(_moments(who, row, weight, n) + prior[:, None] * np.eye(3))
    right = np.stack([np.bincount(who, row[:, i] * weight * value, n) for i in range(3)], axis=1)
    right = right + prior * mean * [1, 1, 0]
    form, with_prior = np.einsum("nij,nj->ni", covariance, right)[:, :2], _sigmas(covariance)
    of_score = _moments(who, row, (weight * noise) ** 2, n) + prior[:, None] * np.eye(3)
    known = (form > 0) & (with_prior < 2 * MOST_RELATIVE_SIGMA * np.abs(form))
    mtf50 = np.where(known, np.maximum(form, 1e-12) ** -0.5, np.nan)
    excess = np.where(free, 0, (2 * a * b) ** 2) * weight * mean[who, 0]
    score = np.stack([np.bincount(who, row[:, i] * excess, n) for i in range(3)], axis=1)
    sensitivity = -0.5 * np.einsum("nij,nj->ni", covariance, score)[:, :2] * mtf50**2
    sigma = np.where(known, 0.5 * _sigmas(covariance @ of_score @ covariance) * mtf50**3, np.nan)
    return Ellipses(mtf50, sigma, sensitivity)


def _moments(who: NDArray, row: NDArray, weight: NDArray, n: int) -> NDArray[np.float64]:
    """Σ weight row rowᵀ of each of n positions, shape (n, 3, 3)."""
    terms = [[np.bincount(who, weight * row[:, i] * row[:, j], n) for j in range(3)] for i in range(3)]
    return np.array(terms, dtype=float).transpose(2, 0, 1)


def _sigmas(covariance: NDArray) -> NDArray[np.float64]:
    """Standard deviations along both axes, shape (n, 2)."""
    return np.sqrt(covariance[:, [0, 1], [0, 1]])
