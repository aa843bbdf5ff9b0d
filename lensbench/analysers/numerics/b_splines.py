"""Uniform cubic B-splines, without SciPy: importing its splines takes longer than a flat takes to search for dirt.

The tests hold them against `scipy.interpolate.BSpline`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def nonzero_splines(positions: ArrayLike, length: int, pieces: int) -> tuple[NDArray, NDArray]:
    """The four B-splines that are not zero at each position.

    Parameters
    ----------
    positions : array_like, shape (n,)
        Pixels along an axis of the frame, -0.5 to `length` - 0.5.
    length : int
        Pixels of that axis.
    pieces : int
        Equal pieces that it is divided into; there are three splines more.

    Returns
    -------
    first : ndarray of int, shape (n,)
        Number of the first of the four.
    values : ndarray, shape (n, 4)
        Their values.
    """
    t = (np.asarray(positions, float) + 0.5) / length * pieces
    first = np.clip(np.floor(t).astype(int), 0, pieces - 1)
    u = t - first
    values = [(1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, -3 * u**3 + 3 * u**2 + 3 * u + 1, u**3]
    return first, np.stack(values, axis=-1) / 6


def spline_basis(positions: ArrayLike, length: int, splines: int) -> NDArray[np.float64]:
    """All B-splines of an axis at some positions.

    Parameters
    ----------
    positions : array_like, shape (n,)
        Pixels along an axis of the frame, -0.5 to `length` - 0.5.
    length : int
        Pixels of that axis.
    splines : int
        How many, 4 or more.

    Returns
    -------
    ndarray, shape (n, splines)
    """
    first, values = nonzero_splines(positions, length, splines - 3)
    basis = np.zeros((len(first), splines))
    np.put_along_axis(basis, first[:, None] + np.arange(4), values, axis=1)
    return basis


def third_difference_penalty(splines: int) -> NDArray[np.float64]:
    """The quadratic form of the squared third differences of a spline's coefficients.

    Parameters
    ----------
    splines : int
        How many coefficients.

    Returns
    -------
    ndarray, shape (splines, splines)
    """
    third = np.diff(np.eye(splines), n=3, axis=0)
    return third.T @ third
