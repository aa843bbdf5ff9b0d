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
def factored(bands):
    """Cholesky factors of positive definite matrices, for `solved` and `log_determinant`.

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
    for u, band in zip(factors, bands):  # noqa: B905 (compiled, it knows no `strict`)
        for j in range(size):
            # Indices before the first row wrap to the last rows, which are still zero.
            a, b, c = u[j - 1], u[j - 2], u[j - 3]
            over = 1 / np.sqrt(band[0, j] - a[1] * a[1] - b[2] * b[2] - c[3] * c[3])
            u[j, 0] = over
            u[j, 1] = (band[1, j] - a[1] * a[2] - b[2] * b[3]) * over
            u[j, 2] = (band[2, j] - a[1] * a[3]) * over
            u[j, 3] = band[3, j] * over
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
    n, several, size = right.shape
    solution = np.zeros(right.shape)
    for i in range(n):
        u = factors[i]
        for k in range(several):
            x, wanted = solution[i, k], right[i, k]
            for j in range(size):
                known = u[j - 1, 1] * x[j - 1] + u[j - 2, 2] * x[j - 2] + u[j - 3, 3] * x[j - 3]
                x[j] = (wanted[j] - known) * u[j, 0]
            x1 = x2 = x3 = 0.0
            for j in range(size - 1, -1, -1):
                x[j] = (x[j] - u[j, 1] * x1 - u[j, 2] * x2 - u[j, 3] * x3) * u[j, 0]
                x1, x2, x3 = x[j], x1, x2
    return solution


def log_determinant(factors: NDArray) -> NDArray:
    """Natural logarithms of determinants.

    Parameters
    ----------
    factors : ndarray, shape (n, K, 4)
        From `factored`.

    Returns
    -------
    ndarray, shape (n,)
    """
    return -2 * np.log(factors[..., 0]).sum(axis=-1)
