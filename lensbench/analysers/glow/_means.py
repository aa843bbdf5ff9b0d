"""Means over edges without outliers, as unsure as noise and the edges' own scatter make them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.robust import robust_sigma

OUTLIER = 5.0
"""Edges whose glow deviates from the zone's median by more standard deviations are left out: a hair or a crease
beside them (common practice)."""


class Mean(NamedTuple):
    """A mean over edges and its standard deviation, which edges are in it, and how much each of these counts."""

    value: float
    sigma: float
    used: NDArray[np.bool_]
    weight: NDArray[np.float64]


def mean_without_outliers(value: NDArray, sigma: NDArray) -> Mean:
    """The weighted mean of edges, shape (n,), with their standard deviations by noise."""
    middle = float(np.median(value))
    scatter = max(robust_sigma(value), float(np.median(sigma)))
    used = np.abs(value - middle) <= OUTLIER * np.maximum(scatter, sigma)
    value, sigma = value[used], sigma[used]
    weight = 1 / (sigma**2 + float(np.median(sigma)) ** 2 + 1e-12)
    weight = weight / weight.sum()
    return Mean(float(weight @ value), float(sigma_of_mean(value, sigma, weight)), used, weight)


def sigma_of_mean(value: NDArray, sigma: NDArray, weight: NDArray) -> NDArray[np.float64]:
    """Standard deviation of a weighted mean: by noise, or as the values scatter, whichever is more.

    Parameters
    ----------
    value, sigma : ndarray, shape (n, ...)
        The values and their standard deviations by noise.
    weight : ndarray, shape (n,)
        How much each counts; 1 in all.

    Returns
    -------
    ndarray, shape (...)
    """
    by_noise = weight**2 @ sigma**2
    deviation = value - weight @ value
    by_scatter = weight**2 @ deviation**2 * len(value) / max(len(value) - 1, 1)
    return np.asarray(np.sqrt(np.maximum(by_noise, by_scatter)))
