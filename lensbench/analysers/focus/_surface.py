"""The surface of best focus over the frame: how it leans, and how it is curved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame

LEAST_PLACES = 8
"""With fewer figures than this no surface is drawn."""

LEAST_SPAN = 0.4
"""Figures must reach at least so far across and down, in half-diagonals."""

TURNS = 6
"""How often places far off the surface are weighed anew."""

ODD = 3.0
"""A place farther off than so many standard deviations counts less."""

STIFF = 0.5
"""How large the fourth power of h comes against the whole depth of the surface, as a standard deviation."""


@dataclass(frozen=True, eq=False)
class FocusSurface:
    """Best focus in mm along the rail: c + a X + b Y + k h² + q h⁴, X and Y from the centre in half-diagonals.

    `terms` are c, a, b, then k and q of sagittal and of tangential edges; both share the lean. `reach` is the h of
    the outermost place that was fitted.
    """

    terms: NDArray[np.float64]
    covariance: NDArray[np.float64]
    reach: float

    def lean(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Slopes (a, b), mm a half-diagonal, and their standard deviations."""
        return self.terms[1:3], np.sqrt(np.diag(self.covariance)[1:3])

    def bow(self, h: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How far from the centre's the best focus at h lies, lean apart.

        Sagittal and tangential, mm, and their standard deviations.
        """
        rows = np.zeros((2, 7))
        rows[0, 3:5] = rows[1, 5:7] = h**2, h**4
        return rows @ self.terms, np.sqrt(np.einsum("ni,ij,nj->n", rows, self.covariance, rows))


def fit_surface(
    x: NDArray, y: NDArray, place: NDArray, sigma: NDArray, size: tuple[int, int]
) -> FocusSurface | None:
    """Fit the surface of best focus.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Places in pixels.
    place, sigma : ndarray, shape (n, 2)
        Best focus of sagittal and tangential edges and its standard deviation, mm; NaN where unknown.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    FocusSurface or None
        None where there are too few places, or all in one part of the frame.
    """
    across, down, h = _scaled(x, y, size)
    one, none = np.ones_like(h), np.zeros_like(h)
    rows = np.concatenate(
        [
            np.stack([one, across, down, h**2, h**4, none, none], axis=1),
            np.stack([one, across, down, none, none, h**2, h**4], axis=1),
        ]
    )
    value, spread = place.T.ravel(), sigma.T.ravel()
    known = np.isfinite(value) & np.isfinite(spread)
    if known.sum() < LEAST_PLACES or np.ptp(rows[known, 1]) < LEAST_SPAN or np.ptp(rows[known, 2]) < LEAST_SPAN:
        return None
    reach = float(np.tile(h, 2)[known].max())
    rows, value, spread = rows[known], value[known], spread[known]
    prior = np.zeros(7)
    prior[[4, 6]] = (STIFF * (np.ptp(value) + spread.mean())) ** -2
    prior += 1e-9 * np.mean(spread**-2)
    extra, weight = 0.0, np.ones_like(value)
    for _ in range(TURNS):
        firm = weight / (spread**2 + extra**2)
        covariance = np.linalg.inv(rows.T @ (firm[:, None] * rows) + np.diag(prior))
        terms = covariance @ (rows.T @ (firm * value))
        left = value - rows @ terms
        off = 1.4826 * np.median(np.abs(left))
        extra = float(np.sqrt(max(off**2 - np.median(spread) ** 2, 0.0)))
        total = np.sqrt(spread**2 + extra**2)
        weight = np.minimum(1.0, ODD * total / np.maximum(np.abs(left), 1e-12))
    return FocusSurface(terms, covariance, reach)


def _scaled(x: NDArray, y: NDArray, size: tuple[int, int]) -> tuple[NDArray, NDArray, NDArray]:
    cx, cy = frame.centre_of(size)
    radius = frame.half_diagonal(size)
    return (np.asarray(x) - cx) / radius, (np.asarray(y) - cy) / radius, frame.h_of(x, y, size)
