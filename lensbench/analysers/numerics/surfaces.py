"""Smooth surfaces over the frame: tensor products of cubic B-splines, and how they are fitted."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.b_splines import nonzero_splines, spline_basis, third_difference_penalty
from lensbench.analysers.numerics.rank_filters import detrended_median_filter
from lensbench.robust import robust_sigma

SPLINES = (15, 21)
"""B-splines down and across of a fitted surface (chosen by experience; tests/bench/light.py shows how closely the
falloff of known light is followed)."""

PENALTY = 1e-3
"""Weight of the squared third differences of the coefficients, against the mean weight of the values for one
coefficient (chosen by experience). It continues the surface over gaps along a parabola."""

ROUNDS = 3
"""Times that outliers are judged before the last fit."""

OUTLIER = 6.0
"""Cut-off of Tukey's biweight in standard deviations (common practice: 4.7 to 9)."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A smooth surface over the frame: a tensor product of cubic B-splines.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    coefficients : ndarray, shape (splines down, splines across)
        One weight for each product of two splines.
    """

    size: tuple[int, int]
    coefficients: NDArray[np.float64]

    def on_grid(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The surface at all pairs of x and y, shape (y, x)."""
        down, across = self.coefficients.shape
        return spline_basis(y, self.size[1], down) @ self.coefficients @ spline_basis(x, self.size[0], across).T

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The surface at single positions, shape of x and y."""
        down, across = self.coefficients.shape
        row, rows = nonzero_splines(y, self.size[1], down - 3)
        column, columns = nonzero_splines(x, self.size[0], across - 3)
        four = np.arange(4)
        near = self.coefficients[row[:, None, None] + four[:, None], column[:, None, None] + four]
        return np.einsum("kj,kji,ki->k", rows, near, columns)


def fit_robust_surface(
    values: NDArray, weights: NDArray, x: NDArray, y: NDArray, size: tuple[int, int], least_sigma: float
) -> tuple[Surface, NDArray[np.float64]]:
    """Fit a smooth surface to values on a grid, without single outliers (dirt, hot pixels).

    A value is an outlier when it deviates from its neighbours, so that a gradient too steep for the splines, such
    as the edge of the image circle, is not rejected as dirt. The first fits have half as many splines, which can't
    follow outliers.

    Parameters
    ----------
    values, weights : ndarray, shape (y, x)
        What to fit and how much each value counts; values of no weight may be anything finite.
    x, y : ndarray
        The grid's positions in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    least_sigma : float
        Least standard deviation of the values from the surface, in their unit.

    Returns
    -------
    surface : Surface
    trust : ndarray, shape (y, x)
        Weights of Tukey's biweight: 1 for values like their neighbours, down to 0 for outliers.
    """
    trust = np.ones_like(values)
    for _ in range(ROUNDS):
        surface = _fit_surface(values, weights * trust, x, y, size, (SPLINES[0] // 2, SPLINES[1] // 2))
        residual = np.where(weights > 0, values - surface.on_grid(x, y), 0.0)
        residual -= detrended_median_filter(residual, reach=3)
        sigma = max(robust_sigma(residual[weights > 0], about=0.0), least_sigma)
        trust = np.clip(1 - (residual / (OUTLIER * sigma)) ** 2, 0, 1) ** 2
    return _fit_surface(values, weights * trust, x, y, size, SPLINES), trust


def _fit_surface(
    values: NDArray, weights: NDArray, x: NDArray, y: NDArray, size: tuple[int, int], splines: tuple[int, int]
) -> Surface:
    """Weighted least squares with a roughness penalty (P-splines).

    P. H. C. Eilers, I. D. Currie, M. Durbán, Fast and compact smoothing on large multidimensional grids,
    Computational Statistics & Data Analysis 50 (2006) 61-76.
    """
    down, across = splines
    rows, columns = spline_basis(y, size[1], down), spline_basis(x, size[0], across)
    # Products of pairs of splines turn the normal equations into two small matrix products.
    pairs_down = (rows[:, :, None] * rows[:, None, :]).reshape(len(y), -1)
    pairs_across = (columns[:, :, None] * columns[:, None, :]).reshape(len(x), -1)
    normal = (pairs_down.T @ weights @ pairs_across).reshape(down, down, across, across)
    normal = normal.transpose(0, 2, 1, 3).reshape(down * across, down * across)
    roughness = np.kron(third_difference_penalty(down), np.eye(across))
    roughness += np.kron(np.eye(down), third_difference_penalty(across))
    scale = PENALTY * max(weights.sum(), np.finfo(float).tiny) / (down * across)
    right = rows.T @ (weights * values) @ columns
    # Where nothing else determines a coefficient: a ridge too small to matter anywhere else.
    ridge = 1e-9 * scale * np.eye(down * across)
    return Surface(size, np.linalg.solve(normal + scale * roughness + ridge, right.ravel()).reshape(splines))


def nodes(size: tuple[int, int], splines: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Positions on which a smooth function determines a surface, up to the frame's borders.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    splines : (int, int)
        Number of B-splines down and across.

    Returns
    -------
    x, y : ndarray, shapes (3 × splines across,) and (3 × splines down,)
        In pixels.
    """
    return _nodes(size[0], splines[1]), _nodes(size[1], splines[0])


def surface_through(values: NDArray, size: tuple[int, int], splines: tuple[int, int]) -> Surface:
    """The surface nearest to a smooth function (least squares).

    Parameters
    ----------
    values : ndarray, shape (3 × splines down, 3 × splines across)
        The function on the surface's `nodes`.
    size, splines
        As in `nodes`.

    Returns
    -------
    Surface
    """
    return Surface(size, _from_nodes(size[1], splines[0]) @ values @ _from_nodes(size[0], splines[1]).T)


@functools.cache
def _from_nodes(length: int, splines: int) -> NDArray:
    """The matrix from values on the nodes along one axis to coefficients, shape (splines, nodes)."""
    return np.linalg.pinv(spline_basis(_nodes(length, splines), length, splines))


def _nodes(length: int, splines: int) -> NDArray[np.float64]:
    return np.linspace(0.0, length - 1.0, 3 * splines)
