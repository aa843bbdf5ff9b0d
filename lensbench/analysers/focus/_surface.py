"""The surface of best focus over the frame: its lean and its curvature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.robust import robust_sigma

LEAST_POSITIONS = 8
"""With fewer figures than this no surface is fitted."""

LEAST_SPAN = 0.4
"""Figures must reach at least so far across and down, in half-diagonals."""

REWEIGHTINGS = 6
"""Fits, weighted anew by their residuals (converged by then)."""

HUBER_SIGMAS = 3.0
"""Residuals beyond so many standard deviations weigh less (Huber's loss)."""

FOURTH_POWER_SIGMA = 0.5
"""Prior of the coefficient of h⁴, as a standard deviation in units of the whole depth of the surface (chosen by
experience)."""


@dataclass(frozen=True, eq=False)
class FocusSurface:
    """Best focus in mm along the rail: c + a X + b Y + k h² + q h⁴, X and Y from the centre in half-diagonals.

    `terms` are c, a, b, then k and q of sagittal and of tangential edges; both share the lean. `reach` is the h of
    the outermost fitted position.
    """

    terms: NDArray[np.float64]
    covariance: NDArray[np.float64]
    reach: float

    def lean(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Slopes (a, b), mm a half-diagonal, and their standard deviations."""
        return self.terms[1:3], np.sqrt(np.diag(self.covariance)[1:3])

    def curvature(self, h: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Best focus at h from the centre's, without the lean: sagittal and tangential, mm, and their sigmas."""
        rows = np.zeros((2, 7))
        rows[0, 3:5] = rows[1, 5:7] = h**2, h**4
        return rows @ self.terms, np.sqrt(np.einsum("ni,ij,nj->n", rows, self.covariance, rows))


def fit_surface(
    x: NDArray, y: NDArray, best: NDArray, sigma: NDArray, size: tuple[int, int]
) -> FocusSurface | None:
    """Fit the surface of best focus.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Positions in pixels.
    best, sigma : ndarray, shape (n, 2)
        Best focus of sagittal and tangential edges and its standard deviation, mm; NaN where unknown.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    FocusSurface or None
        None where there are too few positions, or all in one part of the frame.
    """
    across, down, h = _scaled(x, y, size)
    one, none = np.ones_like(h), np.zeros_like(h)
    rows = np.concatenate(
        [
            np.stack([one, across, down, h**2, h**4, none, none], axis=1),
            np.stack([one, across, down, none, none, h**2, h**4], axis=1),
        ]
    )
    value, spread = best.T.ravel(), sigma.T.ravel()
    known = np.isfinite(value) & np.isfinite(spread)
    if known.sum() < LEAST_POSITIONS or np.ptp(rows[known, 1]) < LEAST_SPAN or np.ptp(rows[known, 2]) < LEAST_SPAN:
        return None
    reach = float(np.tile(h, 2)[known].max())
    rows, value, spread = rows[known], value[known], spread[known]
    prior = np.zeros(7)
    prior[[4, 6]] = (FOURTH_POWER_SIGMA * (np.ptp(value) + spread.mean())) ** -2
    prior += 1e-9 * np.mean(spread**-2)
    extra, weight = 0.0, np.ones_like(value)
    for _ in range(REWEIGHTINGS):
        information = weight / (spread**2 + extra**2)
        covariance = np.linalg.inv(rows.T @ (information[:, None] * rows) + np.diag(prior))
        terms = covariance @ (rows.T @ (information * value))
        residual = value - rows @ terms
        scatter = robust_sigma(residual, about=0.0)
        extra = float(np.sqrt(max(scatter**2 - np.median(spread) ** 2, 0.0)))
        total = np.sqrt(spread**2 + extra**2)
        weight = np.minimum(1.0, HUBER_SIGMAS * total / np.maximum(np.abs(residual), 1e-12))
    return FocusSurface(terms, covariance, reach)


def _scaled(x: NDArray, y: NDArray, size: tuple[int, int]) -> tuple[NDArray, NDArray, NDArray]:
    cx, cy = frame.centre_of(size)
    radius = frame.half_diagonal(size)
    return (np.asarray(x) - cx) / radius, (np.asarray(y) - cy) / radius, frame.h_of(x, y, size)
