"""Cubic splines through values on a regular grid, read along two axes or at single positions."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage, sparse
from scipy.interpolate import BSpline

_B_SPLINE = BSpline.basis_element(np.arange(-2.0, 3.0), extrapolate=False)
"""The cubic B-spline of knots one grid step apart, about 0."""


def coefficients(values: NDArray) -> NDArray:
    """The spline's coefficients for real or complex values of shape (rows, columns)."""
    if np.iscomplexobj(values):
        return coefficients(values.real) + 1j * coefficients(values.imag)
    return ndimage.spline_filter(values, order=3, output=np.float64, mode="mirror")


def weights(positions: ArrayLike, count: int) -> sparse.csr_array:
    """The matrix that reads coefficients along one axis.

    Parameters
    ----------
    positions : array_like, shape (n,)
        Where to read, in grid steps from the first value; zero is read beyond the ends.
    count : int
        Length of the axis.

    Returns
    -------
    sparse array, shape (n, count)
    """
    positions = np.asarray(positions, dtype=np.float64)
    base = np.floor(positions)
    around = np.arange(-1, 3)
    cubic = _B_SPLINE((positions - base)[:, None] - around)
    column = base[:, None].astype(np.int64) + around
    cubic[(positions < 0) | (positions > count - 1)] = 0
    # The spline is mirrored about its first and last value, as the coefficients are.
    column = np.abs(column)
    column = np.where(column > count - 1, 2 * (count - 1) - column, column)
    row = np.repeat(np.arange(len(positions)), 4)
    kept = cubic.ravel() != 0
    return sparse.csr_array(
        (cubic.ravel()[kept], (row[kept], column.ravel()[kept])), shape=(len(positions), count)
    )


def at_places(coefficient: NDArray, rows: ArrayLike, columns: ArrayLike) -> NDArray:
    """Read the spline at single positions, given in grid steps; zero beyond the ends."""
    rows, columns = np.broadcast_arrays(rows, columns)
    if np.iscomplexobj(coefficient):
        return at_places(coefficient.real, rows, columns) + 1j * at_places(coefficient.imag, rows, columns)
    where = np.stack([rows.ravel(), columns.ravel()])
    value = ndimage.map_coordinates(coefficient, where, order=3, mode="mirror", prefilter=False)
    beyond = (where < 0) | (where > np.array(coefficient.shape)[:, None] - 1)
    return np.where(beyond.any(axis=0), 0.0, value).reshape(rows.shape)
