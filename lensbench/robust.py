"""Robust statistics: spread and weights of data with outliers among them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

MAD_TO_SIGMA = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution, 1 / Φ⁻¹(3/4)."""

LARGEST_SIGMA = 6.0
"""Standard deviation over that of the median observation, such as an edge, from which one is rejected (chosen by
experience: slivers of edges at the frame's border)."""


def robust_sigma(values: ArrayLike, axis: int | None = None, about: float | None = None) -> Any:
    """Standard deviation of values, from their median absolute deviation.

    The same as `scipy.stats.median_abs_deviation` with ``scale="normal"``, without loading SciPy.

    Parameters
    ----------
    values : array_like
        The data; at least one along `axis`.
    axis : int, optional
        Over all values without it.
    about : float, optional
        What the deviations are taken about, where it is known (such as 0 for residuals); the median otherwise.

    Returns
    -------
    float or ndarray
    """
    values = np.asarray(values)
    if axis is None:
        return MAD_TO_SIGMA * _median(np.abs(values - (_median(values) if about is None else about)))
    centre = np.median(values, axis=axis, keepdims=True) if about is None else about
    return MAD_TO_SIGMA * np.median(np.abs(values - centre), axis=axis)


def _median(values: NDArray) -> float:
    """The same as `numpy.median` over all values, which parts them three times."""
    middle = values.size // 2
    parted = np.partition(values, middle, axis=None)
    # What isn't a number is sorted last.
    upper, highest = parted[middle], parted[middle:].max()
    if np.isnan(highest):
        return float("nan")
    return float(upper if values.size % 2 else np.mean([parted[:middle].max(), upper]))


def comparably_known(sigma: NDArray, usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which observations are about as certain as the others: of the rest even the standard deviation is uncertain.

    Parameters
    ----------
    sigma : ndarray
        Standard deviations.
    usable : ndarray of bool
        Which of them count.

    Returns
    -------
    ndarray of bool
        The usable ones whose standard deviation is at most `LARGEST_SIGMA` times their median.
    """
    if not usable.any():
        return usable
    return usable & (sigma <= LARGEST_SIGMA * float(np.median(sigma[usable])))


def cauchy_weight(residual: NDArray, scale: ArrayLike) -> NDArray[np.float64]:
    """Weight of residuals in iteratively reweighted least squares under Cauchy's (Lorentzian) loss.

    Parameters
    ----------
    residual : ndarray
        Data less fit.
    scale : array_like
        Residual that weighs half; broadcast against `residual`. Twice the standard deviation or so keeps 95 % of
        the efficiency on normal data (2.385; P. J. Huber, Robust Statistics; memory).

    Returns
    -------
    ndarray
        1 for no residual, falling with its square.
    """
    return 1 / (1 + (residual / np.asarray(scale, float)) ** 2)
