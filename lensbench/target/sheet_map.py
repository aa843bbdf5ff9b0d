"""Where the sheet's places lie in the picture: one smooth mapping, and which tiles don't keep to it.

References
----------
G. Schwarz, Estimating the dimension of a model, Annals of Statistics 6 (1978) (the criterion for how many terms).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

POINTS_PER_TERM = 6
"""Corners that each term of the mapping must have to stand on."""

HIGHEST_DEGREE = 7
"""Higher ones only follow the corners' errors."""

FINEST = 0.01
"""What corners err by at the least, in blocks of the picture."""

ODD = 4.0
"""A tile is odd that lies further from the mapping than this many times what is usual…"""

LEAST_ODD = 0.04
"""…and than this many legs."""


@dataclass(frozen=True, eq=False)
class SheetMap:
    """A polynomial from the sheet (x, y in mm) to the picture.

    Attributes
    ----------
    centre, scale : ndarray, float
        The places it was fitted to, less `centre` and over `scale`, lie within -1 to 1.
    terms : ndarray, shape (terms, 2)
        Factors of the Chebyshev products of each degree up to `degree`.
    """

    centre: NDArray[np.float64]
    scale: float
    degree: int
    factors: NDArray[np.float64]

    def __call__(self, mm: NDArray) -> NDArray[np.float64]:
        """Places in the picture of places on the sheet, both of shape (..., 2)."""
        flat = (np.reshape(mm, (-1, 2)) - self.centre) / self.scale
        return (_products(flat, self.degree) @ self.factors).reshape(np.shape(mm))


def fit_map(mm: NDArray, seen: NDArray, leg: NDArray) -> tuple[SheetMap, NDArray[np.bool_]]:
    """Fit the mapping to tiles' corners, leaving out tiles that don't keep to what the others say.

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
        Which tiles keep to it.
    """
    kept = np.ones(len(mm), bool)
    for _ in range(5):
        mapping = _fit(mm[kept], seen[kept])
        off = np.linalg.norm(mapping(mm) - seen, axis=2).max(axis=1)
        now = off < np.maximum(ODD * np.median(off[kept]), LEAST_ODD * leg)
        if (now == kept).all() or now.sum() < 0.5 * len(mm):
            break
        kept = now
    return mapping, kept


def _fit(mm: NDArray, seen: NDArray) -> SheetMap:
    flat, target = mm.reshape(-1, 2), seen.reshape(-1, 2)
    low, high = flat.min(axis=0), flat.max(axis=0)
    centre, scale = (low + high) / 2, float((high - low).max() / 2)
    products = _products((flat - centre) / scale, _highest_degree(len(flat)))
    best = None
    for degree in range(1, _highest_degree(len(flat)) + 1):
        terms = products[:, : _terms(degree)]
        factors = np.linalg.lstsq(terms, target, rcond=None)[0]
        rest = float(((terms @ factors - target) ** 2).sum()) + FINEST**2 * len(flat)
        # Schwarz's criterion, each tile counting once: its three corners err together.
        cost = len(mm) * np.log(rest) + _terms(degree) * np.log(len(mm))
        if best is None or cost < best[0]:
            best = cost, SheetMap(centre, scale, degree, factors)
    return best[1]


def _highest_degree(points: int) -> int:
    """The highest degree whose terms all have points enough to stand on."""
    degree = 1
    while degree < HIGHEST_DEGREE and POINTS_PER_TERM * _terms(degree + 1) <= points:
        degree += 1
    return degree


def _terms(degree: int) -> int:
    return (degree + 1) * (degree + 2) // 2


def _products(places: NDArray, degree: int) -> NDArray[np.float64]:
    """Products of Chebyshev polynomials of x and y, by rising degree of both together."""
    across, down = (np.polynomial.chebyshev.chebvander(axis, degree) for axis in places.T)
    return np.stack([across[:, i] * down[:, d - i] for d in range(degree + 1) for i in range(d + 1)], axis=1)
