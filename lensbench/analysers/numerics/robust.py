"""Robust statistics: the spread of data with outliers among them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

MAD_TO_SIGMA = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution, 1 / Φ⁻¹(3/4)."""


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
    centre = np.median(values, axis=axis, keepdims=True) if about is None else about
    sigma = MAD_TO_SIGMA * np.median(np.abs(values - centre), axis=axis)
    return float(sigma) if axis is None else sigma
