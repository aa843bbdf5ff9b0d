"""Nearly rotationally symmetric light: what a lens shows of an even field, unaffected by marks however wide."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.b_splines import spline_basis, third_difference_penalty
from lensbench.robust import robust_sigma

RADIAL_SPLINES = (16, 8, 6)
"""B-splines along the radius of the parts of order 0, 1 and 2 around the axis (chosen by experience)."""

DEGREE = 4
"""Degree of the polynomial in x and y together that the light panel may add (chosen by experience)."""

PENALTY = 1e-5
"""Weight of the squared third differences of the radial splines, against the mean weight of a function (chosen by
experience)."""

ABSOLUTE_ROUNDS, MOST_ROUNDS = 6, 16
"""Rounds of least absolute deviations, and of all reweighting at most."""

OUTLIER, SETTLED = 3.5, 0.05
"""Cut-off of Tukey's biweight in standard deviations (chosen by experience; 4.7 is common practice), and the
largest change of a weight in the last round."""


def round_basis(
    x: NDArray, y: NDArray, size: tuple[int, int], centre: tuple[float, float] = (0.0, 0.0)
) -> NDArray[np.float64]:
    """Functions of nearly symmetric light over a grid: free along the radius, of low order around the axis.

    The light of a lens is nearly symmetric; a wide smear is not, so these functions can't follow it.

    Parameters
    ----------
    x, y : ndarray
        The grid's positions in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    centre : (float, float)
        The axis, from the frame's centre, as a share of the half-diagonal.

    Returns
    -------
    ndarray, shape (len(y) * len(x), functions)
    """
    half = np.hypot(*size) / 2
    u = np.tile((np.asarray(x) - (size[0] - 1) / 2) / half - centre[0], len(y))
    v = np.repeat((np.asarray(y) - (size[1] - 1) / 2) / half - centre[1], len(x))
    farthest = 1 + np.hypot(*centre)
    r = np.hypot(u, v) / farthest
    functions = []
    harmonics: list[list[NDArray]] = [[np.ones_like(u)], [u, v], [u * u - v * v, 2 * u * v]]
    for splines, angular in zip(RADIAL_SPLINES, harmonics, strict=True):
        radial = spline_basis(np.clip(r**2, 0, 1) - 0.5, 1, splines)
        functions += [radial * harmonic[:, None] for harmonic in angular]
    powers = [(i, j) for i in range(DEGREE + 1) for j in range(DEGREE + 1 - i)]
    functions.append(np.stack([u**i * v**j for i, j in powers], axis=1))
    return np.concatenate(functions, axis=1)


def fit_round(values: NDArray, weights: NDArray, basis: NDArray) -> NDArray[np.float64]:
    """Fit nearly symmetric light to values on a grid by weighted least squares.

    Parameters
    ----------
    values : ndarray, shape (down, across)
        Logarithms of the light, or small relative differences.
    weights : ndarray, shape (down, across)
        Their weights, 0 or more.
    basis : ndarray
        From `round_basis` for the same grid.

    Returns
    -------
    ndarray, shape (functions,)
        Coefficients: ``basis @ coefficients`` is the fitted light, on this or any other grid.
    """
    weighted = basis * weights.reshape(-1, 1)
    normal = weighted.T @ basis
    normal += np.trace(normal) / len(normal) * _penalty()
    return np.linalg.solve(normal, weighted.T @ values.ravel())


@functools.cache
def _penalty() -> NDArray[np.float64]:
    """Roughness penalty: it continues the light into the frame's corners, where few blocks determine it."""
    penalties = []
    for splines, harmonics in zip(RADIAL_SPLINES, (1, 2, 2), strict=True):
        penalties += [PENALTY * third_difference_penalty(splines)] * harmonics
    radial = sum(len(one) for one in penalties)
    whole = 1e-9 * np.eye(radial + (DEGREE + 1) * (DEGREE + 2) // 2)
    start = 0
    for one in penalties:
        whole[start : start + len(one), start : start + len(one)] += one
        start += len(one)
    return whole


def robust_round_weights(
    values: NDArray, readable: NDArray[np.bool_], basis: NDArray, least_sigma: float
) -> NDArray[np.float64]:
    """Weights that separate nearly symmetric light from marks that deviate from it, however wide.

    Iteratively reweighted least squares: least absolute deviations find the light, then Tukey's biweight rejects
    more and more of the marks' skirts.

    Parameters
    ----------
    values : ndarray, shape (down, across)
        Logarithms of the light.
    readable : ndarray of bool, shape (down, across)
        Which of them could be measured.
    basis : ndarray
        From `round_basis` for the same grid.
    least_sigma : float
        Least standard deviation of the values from the light.

    Returns
    -------
    ndarray, shape (down, across)
        0 for what was rejected, up to 1.
    """
    weights = readable.astype(np.float64)
    for turn in range(MOST_ROUNDS):
        residual = np.abs(values - (basis @ fit_round(values, weights, basis)).reshape(values.shape))
        sigma = max(robust_sigma(residual[readable], about=0.0), least_sigma)
        if turn < ABSOLUTE_ROUNDS:
            weights = readable / np.maximum(residual / sigma, 1.0)
            continue
        newer = readable * np.clip(1 - (residual / (OUTLIER * sigma)) ** 2, 0, 1) ** 2
        settled = np.abs(newer - weights).max() < SETTLED
        weights = newer
        if settled:
            break
    return weights
