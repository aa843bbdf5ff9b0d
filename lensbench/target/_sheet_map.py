"""Where points of the sheet lie in the picture: one smooth mapping, robust against tiles that deviate from it.

The constants are chosen by experience; `tests.bench.finding` shows what they achieve.

References
----------
G. Schwarz, Estimating the dimension of a model, Annals of Statistics 6 (1978) (the criterion for how many terms).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

POINTS_PER_TERM = 6
"""Least number of corners for each term of the mapping."""

HIGHEST_DEGREE = 7
"""Higher degrees only fit the corners' errors."""

FINEST = 0.01
"""Least standard error of corners, in blocks of the picture."""

OUTLIER = 4.0
"""A tile is left out that deviates from the mapping by more than this many times the median…"""

LEAST_OUTLIER = 0.04
"""…and than this many legs."""


@dataclass(frozen=True, eq=False)
class SheetMap:
    """A polynomial from the sheet (x, y in mm) to the picture.

    Attributes
    ----------
    centre, scale : ndarray, float
        The points it was fitted to, less `centre` and over `scale`, lie within -1 to 1.
    degree : int
        Highest total degree.
    factors : ndarray, shape (terms, 2)
        Of the Chebyshev products of each degree up to `degree`.
    """

    centre: NDArray[np.float64]
    scale: float
    degree: int
    factors: NDArray[np.float64]

    def __call__(self, mm: NDArray) -> NDArray[np.float64]:
        """Points in the picture of points on the sheet, both of shape (..., 2)."""
        flat = (np.reshape(mm, (-1, 2)) - self.centre) / self.scale
        return (_products(flat, self.degree) @ self.factors).reshape(np.shape(mm))


def fit_map(mm: NDArray, seen: NDArray, leg: NDArray) -> tuple[SheetMap, NDArray[np.bool_]]:
    """Fit the mapping to tiles' corners, leaving out tiles that deviate from the others.

    Parameters
    ----------
    mm, seen : ndarray, shape (n, 3, 2)
        Corners on the sheet, and in the picture.
    leg : ndarray, shape (n,)
        The tiles' size in the picture.

    Returns
    -------
    SheetMap
    ndarray of bool, shape (n,)
        Which tiles were fitted.
    """
    kept = np.ones(len(mm), bool)
    for _ in range(5):
        mapping = _fit(mm[kept], seen[kept])
        off = np.linalg.norm(mapping(mm) - seen, axis=2).max(axis=1)
        now = off < np.maximum(OUTLIER * np.median(off[kept]), LEAST_OUTLIER * leg)
        if (now == kept).all() or now.sum() < 0.5 * len(mm):
            break
        kept = now
    return mapping, kept


def _fit(mm: NDArray, seen: NDArray) -> SheetMap:
    flat, target = mm.reshape(-1, 2), seen.reshape(-1, 2)
    low, high = flat.min(axis=0), flat.max(axis=0)
    centre, scale = (low + high) / 2, float((high - low).max() / 2)
    products = _products((flat - centre) / scale, _highest_degree(len(flat)))
    best, least = SheetMap(centre, scale, 0, np.zeros((0, 2))), np.inf
    for degree in range(1, _highest_degree(len(flat)) + 1):
        terms = products[:, : _terms(degree)]
        factors = np.linalg.lstsq(terms, target, rcond=None)[0]
        squares = float(((terms @ factors - target) ** 2).sum()) + FINEST**2 * len(flat)
        # Schwarz's criterion, each tile counting once: its three corners err together.
        cost = len(mm) * np.log(squares) + _terms(degree) * np.log(len(mm))
        if cost < least:
            best, least = SheetMap(centre, scale, degree, factors), cost
    return best


def _highest_degree(points: int) -> int:
    """The highest degree for which there are enough points."""
    degree = 1
    while degree < HIGHEST_DEGREE and POINTS_PER_TERM * _terms(degree + 1) <= points:
        degree += 1
    return degree


def _terms(degree: int) -> int:
    return (degree + 1) * (degree + 2) // 2


def _products(points: NDArray, degree: int) -> NDArray[np.float64]:
    """Products of Chebyshev polynomials of x and y, by rising total degree."""
    across, down = (np.polynomial.chebyshev.chebvander(axis, degree) for axis in points.T)
    return np.stack([across[:, i] * down[:, d - i] for d in range(degree + 1) for i in range(d + 1)], axis=1)
