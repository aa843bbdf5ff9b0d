"""Median and maximum filters and morphological reconstruction of small grids, without SciPy.

(Importing SciPy's or scikit-image's filters takes longer than a whole flat takes to search for dirt. The tests
hold these functions against theirs.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def median_filter(values: NDArray, reach: int, rows: slice = slice(None), columns: slice = slice(None)) -> NDArray:
    """The median of each value's square neighbourhood, the grid mirrored about its border.

    Parameters
    ----------
    values : ndarray, shape (down, across)
    reach : int
        Half-width of the neighbourhood: 1 is 3 × 3.
    rows, columns : slice
        The part of the grid to compute.

    Returns
    -------
    ndarray
        Medians of that part.
    """
    return _medians(np.pad(values, reach, mode="symmetric"), reach, rows, columns)


def detrended_median_filter(values: NDArray, reach: int) -> NDArray:
    """The median of each value's square neighbourhood, linear trends continued beyond the grid's border.

    The outermost values themselves do not count: nothing beyond them shows whether they are like their neighbours.

    Parameters
    ----------
    values : ndarray, shape (down, across)
    reach : int
        Half-width of the neighbourhood.

    Returns
    -------
    ndarray, shape (down, across)
    """
    inner = values[1:-1, 1:-1] if min(values.shape) > 2 else values
    margin = reach + (values.shape[0] - inner.shape[0]) // 2
    padded = np.pad(inner, margin, mode="reflect", reflect_type="odd")
    return _medians(padded, reach, slice(None), slice(None))


def _medians(padded: NDArray, reach: int, rows: slice, columns: slice) -> NDArray:
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * reach + 1, 2 * reach + 1))[rows, columns]
    return np.median(windows.reshape(*windows.shape[:2], -1), axis=-1)


def maximum_filter(values: NDArray) -> NDArray:
    """The maximum of each value and its eight neighbours; of a mask, its dilation by one.

    Parameters
    ----------
    values : ndarray, shape (down, across)

    Returns
    -------
    ndarray, shape (down, across)
    """
    tall = values.copy()
    np.maximum(tall[1:], values[:-1], out=tall[1:])
    np.maximum(tall[:-1], values[1:], out=tall[:-1])
    wide = tall.copy()
    np.maximum(wide[:, 1:], tall[:, :-1], out=wide[:, 1:])
    np.maximum(wide[:, :-1], tall[:, 1:], out=wide[:, :-1])
    return wide


def reconstruction(marker: NDArray, mask: NDArray) -> NDArray:
    """Morphological reconstruction by dilation, with eight neighbours.

    Parameters
    ----------
    marker : ndarray, shape (down, across)
        Nowhere above `mask`.
    mask : ndarray, shape (down, across)
        Upper limit; of booleans, its parts connected to `marker` are returned.

    Returns
    -------
    ndarray, shape (down, across)
        The dilations of `marker`, limited to `mask` each time, when nothing changes any more.
    """
    while True:
        dilated = np.minimum(maximum_filter(marker), mask)
        if np.array_equal(dilated, marker):
            return marker
        marker = dilated
