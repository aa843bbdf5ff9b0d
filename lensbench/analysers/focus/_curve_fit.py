"""Fitting curves through focus to many series at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve import POWERS, FocusCurves

KEPT = 0.6
"""Shots with less than this share of the highest MTF50 don't enter the curve about its peak ..."""

LEAST_SHOTS = 5
"""... unless fewer than so many would be left (both: study `tests/bench/focus.py`)."""

HIGHER_POWERS_SIGMA = 0.5
"""Prior of the third and fourth powers over the window, as a standard deviation in units of the curve's mean
(study: `tests/bench/focus.py`)."""


def fit_curves(position: NDArray, mtf50: NDArray, sigma: NDArray, about: float | None = None) -> FocusCurves:
    """Fit a curve through focus to each of n series.

    Parameters
    ----------
    position : ndarray, shape (shots,)
        Positions on the rail, rising.
    mtf50, sigma : ndarray, shape (n, shots)
        Sharpness and its standard deviation; NaN where a shot has none.
    about : float, optional
        A position whose nearest shots the curves are fitted to; otherwise those around each one's sharpest.

    Returns
    -------
    FocusCurves
    """
    if about is None:
        used = _around_peak(position, mtf50)
    else:
        used = _nearest(position, np.isfinite(mtf50), np.full(len(mtf50), about))
    enough = used.sum(axis=1) >= 3
    used &= enough[:, None]
    first = np.where(enough, np.where(used, position, np.inf).min(axis=1), -1.0)
    last = np.where(enough, np.where(used, position, -np.inf).max(axis=1), 1.0)
    middle, half = (first + last) / 2, (last - first) / 2
    squares = np.where(used, np.where(used, mtf50, 1.0) ** -2, 0.0)
    scale = np.where(enough, squares.sum(axis=1) / np.maximum(used.sum(axis=1), 1), 1.0)
    value = squares / scale[:, None]
    # By its square root: the inverse of the standard deviation of `value`.
    weight = np.where(used, np.where(used, mtf50 / (2 * sigma), 0.0) / np.where(used, value, 1.0), 0.0)
    t = (position - middle[:, None]) / half[:, None]
    rows = (t[..., None] ** POWERS) * weight[..., None]
    matrix = np.einsum("nsj,nsk->njk", rows, rows)
    prior = np.array([0.0, 0.0, 0.0, HIGHER_POWERS_SIGMA**-2, HIGHER_POWERS_SIGMA**-2])
    matrix[:, POWERS, POWERS] += prior + 1e-9
    covariance = np.linalg.inv(matrix)
    terms = np.einsum("njk,nsk,ns->nj", covariance, rows, value * weight)
    residual = value * weight - np.einsum("nsk,nk->ns", rows, terms)
    freedom = np.maximum(used.sum(axis=1) - 3, 1)
    chi_squared = (np.sum(residual**2, axis=1) + np.sum(prior * terms**2, axis=1)) / freedom
    covariance *= np.maximum(chi_squared, 1.0)[:, None, None]
    terms[~enough] = np.nan
    return FocusCurves(middle, half, scale, terms, covariance, used)


def _around_peak(position: NDArray, mtf50: NDArray) -> NDArray[np.bool_]:
    """The unbroken run of sharp shots around each series' sharpest, or the nearest few."""
    known = np.isfinite(mtf50)
    level = np.where(known, mtf50, -np.inf)
    sharpest = np.argmax(level, axis=1)
    highest = level.max(axis=1)
    number = np.arange(len(position))
    soft = known & (level < KEPT * highest[:, None])
    left = np.where(soft & (number < sharpest[:, None]), number, -1).max(axis=1)
    right = np.where(soft & (number > sharpest[:, None]), number, len(position)).min(axis=1)
    run = known & (number > left[:, None]) & (number < right[:, None])
    near = _nearest(position, known, position[sharpest])
    return np.where((run.sum(axis=1) >= LEAST_SHOTS)[:, None], run, run | near)


def _nearest(position: NDArray, known: NDArray, about: NDArray) -> NDArray[np.bool_]:
    """The `LEAST_SHOTS` known shots nearest to a position of each series."""
    away = np.where(known, np.abs(position - about[:, None]), np.inf)
    limit = np.sort(away, axis=1)[:, min(LEAST_SHOTS, len(position)) - 1]
    return known & (away <= limit[:, None])
