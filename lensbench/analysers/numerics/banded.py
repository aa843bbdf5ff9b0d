"""Products and Cholesky solutions of thousands of small banded matrices: the normal equations of cubic splines.

A symmetric matrix is stored as its upper bands, shape (4, K): element j of band d is row j, column j + d.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.jit import compiled


def times(bands: NDArray, x: NDArray) -> NDArray:
    """Products of matrices and vectors, one of each at a time.

    Parameters
    ----------
    bands : ndarray, shape (n, 4, K)
    x : ndarray, shape (n, K)

    Returns
    -------
    ndarray, shape (n, K)
    """
    result = bands[:, 0] * x
    for k in range(1, bands.shape[1]):
        result[:, k:] += bands[:, k, :-k] * x[:, :-k]
        result[:, :-k] += bands[:, k, :-k] * x[:, k:]
    return result


@compiled
def _factor(band, u):
    """Cholesky's factor u (K, 4) of one positive definite matrix (4, K), as `factored` gives it."""
    for j in range(len(u)):
        # Before the first row come, by their index, the last ones: zeros still.
        a, b, c = u[j - 1], u[j - 2], u[j - 3]
        over = 1 / np.sqrt(band[0, j] - a[1] * a[1] - b[2] * b[2] - c[3] * c[3])
        u[j, 0] = over
        u[j, 1] = (band[1, j] - a[1] * a[2] - b[2] * b[3]) * over
        u[j, 2] = (band[2, j] - a[1] * a[3]) * over
        u[j, 3] = band[3, j] * over


@compiled
def _solve(u, wanted, x):
    """The solution x (K,), 0 before, of one system with the factor u and this right side."""
    for j in range(len(u)):
        known = u[j - 1, 1] * x[j - 1] + u[j - 2, 2] * x[j - 2] + u[j - 3, 3] * x[j - 3]
        x[j] = (wanted[j] - known) * u[j, 0]
    x1 = x2 = x3 = 0.0
    for j in range(len(u) - 1, -1, -1):
        x[j] = (x[j] - u[j, 1] * x1 - u[j, 2] * x2 - u[j, 3] * x3) * u[j, 0]
        x1, x2, x3 = x[j], x1, x2


@compiled
def factored(bands):
    """Cholesky factors of positive definite matrices, for `solved`.

    Parameters
    ----------
    bands : ndarray, shape (n, 4, K)
        0 beyond the last column.

    Returns
    -------
    ndarray, shape (n, K, 4)
        The upper factors row by row, the main diagonal inverted.
    """
    n, _, size = bands.shape
    factors = np.zeros((n, size, 4))
    for i in range(n):
        _factor(bands[i], factors[i])
    return factors


@compiled
def solved(factors, right):
    """Solutions of linear systems from their Cholesky factors.

    Parameters
    ----------
    factors : ndarray, shape (n, K, 4)
        From `factored`.
    right : ndarray, shape (n, m, K)
        m right-hand sides of each system.

    Returns
    -------
    ndarray, shape (n, m, K)
    """
    n, several, _ = right.shape
    solution = np.zeros(right.shape)
    for i in range(n):
        for k in range(several):
            _solve(factors[i], right[i, k], solution[i, k])
    return solution


@compiled
def _near_inverse(u, z):
    """The bands z (K, 4) of the inverse of one matrix with the factor u, row by row (Takahashi's recursion)."""
    for j in range(len(u) - 1, -1, -1):
        # Beyond the last row come, by their index, the first ones: zeros still.
        a, b, c = z[j + 1 - len(u)], z[j + 2 - len(u)], z[j + 3 - len(u)]
        over, u1, u2, u3 = u[j, 0], u[j, 1], u[j, 2], u[j, 3]
        z[j, 1] = -over * (u1 * a[0] + u2 * a[1] + u3 * a[2])
        z[j, 2] = -over * (u1 * a[1] + u2 * b[0] + u3 * b[1])
        z[j, 3] = -over * (u1 * a[2] + u2 * b[1] + u3 * c[0])
        z[j, 0] = over * (over - u1 * z[j, 1] - u2 * z[j, 2] - u3 * z[j, 3])


@compiled
def _add_rows(band, rows, first, sigma):
    """Add to a matrix (4, K) the products of rows of three weights each over their variances."""
    for r in range(len(rows)):
        for j in range(3):
            for k in range(j, 3):
                band[k - j, first[r] + j] += rows[r, j] * rows[r, k] / (sigma[r] * sigma[r])


@compiled
def with_rows(bands, rows, first, sigma):
    """The matrices with what is expected of sums of three neighbouring unknowns.

    Parameters
    ----------
    bands : ndarray, shape (n, 4, K)
    rows : ndarray, shape (m, 3)
        The weights of the three ...
    first : ndarray of int, shape (m,)
        ... and which the first of them is.
    sigma : ndarray, shape (n, m)
        The sums' standard deviations about 0.
    """
    total = bands.copy()
    for i in range(len(bands)):
        _add_rows(total[i], rows, first, sigma[i])
    return total


@compiled
def rescaled(
    bands, right, rows, first, zone, prior_sigma, unknown, largest, counted, initial, prior_count, rounds
):
    """How large sums of neighbouring unknowns are in each of several zones, by restricted maximum likelihood.

    Each round solves the system and sets a zone's mean square to what was found, over the zone's effective degrees
    of freedom (Fellner 1986; Schall 1991); where the data have none, it stays that of the prior.

    Parameters
    ----------
    bands, right : ndarray, shape (n, 4, K) and (n, K)
        Normal equations of the data alone.
    rows, first : ndarray, shape (m, 3) and (m,)
        As `with_rows` takes them.
    zone : ndarray of int, shape (m,)
        Which zone each sum belongs to.
    prior_sigma : ndarray, shape (n, m)
        The sums' prior standard deviations, which the zones' scales multiply ...
    unknown : ndarray, shape (n, m)
        Variance that the sums have in the data besides what the normal equations say.
    largest : ndarray, shape (n, m)
        ... up to this.
    counted : ndarray of bool, shape (n, m)
        Which sums count in their zone's mean square.
    initial : ndarray, shape (zones,)
        Scales to begin with.
    prior_count : float
        So many sums of its prior size each zone is taken to have had before.
    rounds : int

    Returns
    -------
    ndarray, shape (n, m)
        The sums' standard deviations.
    """
    n, _, size = bands.shape
    zones, sigma = len(initial), np.empty(largest.shape)
    for i in range(n):
        scale = initial
        for round_ in range(rounds + 1):
            for r in range(len(rows)):
                sigma[i, r] = min(prior_sigma[i, r] * scale[zone[r]], largest[i, r])
            if round_ == rounds:
                break
            band, u = bands[i].copy(), np.zeros((size, 4))
            _add_rows(band, rows, first, sigma[i])
            _factor(band, u)
            x, z = np.zeros(size), np.zeros((size, 4))
            _solve(u, right[i], x)
            _near_inverse(u, z)
            square, freedom = np.full(zones, prior_count), np.full(zones, prior_count)
            for r in range(len(rows)):
                if not counted[i, r]:
                    continue
                j, (a, b, c) = first[r], rows[r]
                value = a * x[j] + b * x[j + 1] + c * x[j + 2]
                variance = a * a * z[j, 0] + b * b * z[j + 1, 0] + c * c * z[j + 2, 0]
                variance += 2 * (a * b * z[j, 1] + b * c * z[j + 1, 1] + a * c * z[j, 2])
                seen = max(1 - variance / (sigma[i, r] * sigma[i, r]), 0.0)
                # Each sum for itself: σ² over σ² and the data's variance; so much less of it is seen with more.
                share = 1 / (1 + seen * unknown[i, r] / (sigma[i, r] * sigma[i, r]))
                square[zone[r]] += (share * value / prior_sigma[i, r]) ** 2
                freedom[zone[r]] += share * seen
            scale = np.sqrt(square / freedom)
    return sigma
