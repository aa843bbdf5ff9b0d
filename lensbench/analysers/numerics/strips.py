"""Whole frames processed in strips of rows: each fits into the processor's cache, and several run at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

THREADS, LEAST_STRIPS = 2, 24
"""Threads, and the number of strips from which they save time: between short steps they wait for each other
(chosen by experience, on two cores)."""

STRIP_ROWS = 48
"""Rows processed at once: few enough to stay in the processor's cache (chosen by experience)."""


def each_strip(work: Callable[[int], None], starts: range) -> None:
    """Call a function for the first row of every strip, in threads where there are many (NumPy lets others run).

    Parameters
    ----------
    work : callable
        Takes the first row.
    starts : range
        First rows.
    """
    if len(starts) < LEAST_STRIPS:
        for start in starts:
            work(start)
        return
    with ThreadPoolExecutor(THREADS) as pool:
        for _ in pool.map(work, starts):
            pass


def product_of_rows(down: NDArray, across: NDArray, rows: slice) -> NDArray:
    """Some rows of a product of matrices of which the first is banded.

    Parameters
    ----------
    down : ndarray, shape (m, k)
        Each row has few entries other than 0, side by side, as splines and linear interpolation have.
    across : ndarray, shape (k, n)
    rows : slice
        Of `down`.

    Returns
    -------
    ndarray
        ``(down @ across)[rows]``.
    """
    part = down[rows]
    used = np.flatnonzero(part.any(axis=0))
    near = slice(used[0], used[-1] + 1) if len(used) else slice(0, 1)
    return part[:, near] @ across[near]


def interpolation_matrix(positions: NDArray, count: int) -> NDArray[np.float32]:
    """Weights of linear interpolation between nodes 0, 1, … `count` - 1.

    Parameters
    ----------
    positions : ndarray, shape (n,)
        0 to `count` - 1.
    count : int
        Nodes.

    Returns
    -------
    ndarray of float32, shape (n, count)
    """
    low = np.clip(positions.astype(int), 0, max(count - 2, 0))
    each = np.arange(len(positions))
    weights = np.zeros((len(positions), count), np.float32)
    weights[each, low] = 1 - (positions - low)
    weights[each, np.minimum(low + 1, count - 1)] += positions - low
    return weights


def subtract_product(
    z: NDArray[np.float32], down: NDArray[np.float32], across: NDArray[np.float32], keep_zeros: bool = False
) -> None:
    """Subtract ``down @ across`` from an array in place.

    Parameters
    ----------
    z : ndarray of float32, shape (m, n)
        Changed in place.
    down, across : ndarray of float32
        As in `product_of_rows`.
    keep_zeros : bool
        Leave what is exactly 0 as it is.
    """

    def strip(top: int) -> None:
        rows = slice(top, top + STRIP_ROWS)
        product = product_of_rows(down, across, rows)
        if keep_zeros:
            product *= z[rows] != 0
        z[rows] -= product

    each_strip(strip, range(0, len(z), STRIP_ROWS))
