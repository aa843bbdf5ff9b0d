"""Correction for blur that is no ellipse, estimated from how the figures of tiles depend on their twists.

The long sides lie half-way between the axes, where such blur exceeds the ellipse most, and the excess passes for a
rotation of the ellipse; that biases each tile's figures by its own twist, to either side. The smooth field of
sharpness does not depend on the twists, so the part of the figures that does shows the excess.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.sharpness._blur_ellipse import Ellipses
from lensbench.robust import cauchy_weight, robust_sigma

SURFACE_POSITIONS = 16
"""Positions, its own among them, through whose figures a quadratic surface is fitted at each position."""

POOLED = 24
"""Nearest positions whose residuals are pooled for the excess at each."""

EXCESS_SIGMA = 0.05
"""Prior of the excess, as a share of 1 / MTF50²: coma, astigmatism near focus, square pixels ..."""

UNEVEN_SIGMA = 0.015
"""... and its change from one position to the next, as standard deviations (study: `tests/bench/zones.py`)."""

ROBUST_SCALE = 3.0
"""Residuals of so many standard deviations weigh half."""


def corrected(x: NDArray, y: NDArray, ellipses: Ellipses) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Correct the figures of positions for the non-elliptic excess.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Positions in pixels.
    ellipses : Ellipses
        Figures along both axes at each.

    Returns
    -------
    mtf50 : ndarray, shape (n, 2)
        Corrected; NaN where unknown.
    sigma : ndarray, shape (n, 2)
        Standard deviation of the correction.
    """
    mtf50, sigma = ellipses.mtf50.copy(), np.full(ellipses.mtf50.shape, np.nan)
    for k in (0, 1):
        known = np.flatnonzero(np.isfinite(ellipses.mtf50[:, k]))
        value, sensitivity = ellipses.mtf50[known, k], ellipses.sensitivity[known, k]
        excess, excess_sigma = np.zeros(len(known)), np.full(len(known), EXCESS_SIGMA)
        if len(known) >= SURFACE_POSITIONS:
            noise = ellipses.sigma[known, k] / value
            excess, excess_sigma = _excess(x[known], y[known], np.log(value), noise, sensitivity)
        mtf50[known, k] = value * np.exp(-excess * sensitivity)
        sigma[known, k] = np.abs(value * excess_sigma * sensitivity)
    return mtf50, sigma


def _excess(
    x: NDArray, y: NDArray, figure: NDArray, noise: NDArray, sensitivity: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The excess at each position and its standard deviation, by regression of residuals on sensitivities."""
    (residual, by_excess), near = _surface_residuals(x, y, figure, sensitivity)
    residual, by_excess = residual[near], by_excess[near]
    scatter = np.maximum(robust_sigma(residual, axis=1, about=0.0), np.median(noise[near], axis=1))[:, None]
    weight = cauchy_weight(residual, ROBUST_SCALE * scatter) / scatter**2
    information = (weight * by_excess**2).sum(axis=1) + EXCESS_SIGMA**-2
    excess = (weight * by_excess * residual).sum(axis=1) / information
    return excess, np.hypot(information**-0.5, UNEVEN_SIGMA)


def _surface_residuals(x: NDArray, y: NDArray, *values: NDArray) -> tuple[list[NDArray], NDArray]:
    """Residuals of values from quadratic surfaces through those around, and the positions near each."""
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    order = np.argsort(away, axis=1, kind="stable")
    near = order[:, :SURFACE_POSITIONS]
    reach = away[np.arange(len(x))[:, None], near].max(axis=1, keepdims=True)
    u, v = (x[near] - x[:, None]) / reach, (y[near] - y[:, None]) / reach
    basis = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=2)
    # A surface's value at the position itself is its first coefficient.
    weights = np.linalg.pinv(basis, rcond=1e-4)[:, 0]
    return [value - np.einsum("nk,nk->n", weights, value[near]) for value in values], order[:, :POOLED]
