"""Whole frames worked on strip by strip: each fits into the processor's cache, and several are done at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

THREADS, MANY = 2, 24
"""Threads, and how many strips make them worth their while: between short steps they wait for each other."""

STRIP_ROWS = 48
"""Rows worked on at once: few enough to stay in the processor's cache."""


def each_strip(work: Callable[[int], None], starts: range) -> None:
    """Call `work` for every start, a few at a time (NumPy lets other threads run)."""
    if len(starts) < MANY:
        for start in starts:
            work(start)
        return
    with ThreadPoolExecutor(THREADS) as pool:
        for _ in pool.map(work, starts):
            pass


def rows_between(down: NDArray, across: NDArray, rows: slice) -> NDArray:
    """Some rows of `down @ across`, where each row of `down` has few entries other than 0, and those side by side.

    Splines, and straight lines between nodes, reach no further than a few of these.
    """
    part = down[rows]
    used = np.flatnonzero(part.any(axis=0))
    near = slice(used[0], used[-1] + 1) if len(used) else slice(0, 1)
    return part[:, near] @ across[near]


def between_nodes(places: NDArray, count: int) -> NDArray[np.float32]:
    """Weights of nodes 0, 1, … count - 1 in straight lines between them at places, shape (places, count)."""
    low = np.clip(places.astype(int), 0, max(count - 2, 0))
    each = np.arange(len(places))
    weights = np.zeros((len(places), count), np.float32)
    weights[each, low] = 1 - (places - low)
    weights[each, np.minimum(low + 1, count - 1)] += places - low
    return weights


def take_off(
    z: NDArray[np.float32], down: NDArray[np.float32], across: NDArray[np.float32], spare_zeros: bool = False
) -> None:
    """Take `down @ across` off z in place, `down` as in `rows_between`; what is exactly 0 may be left alone."""

    def strip(top: int) -> None:
        rows = slice(top, top + STRIP_ROWS)
        off = rows_between(down, across, rows)
        if spare_zeros:
            off *= z[rows] != 0
        z[rows] -= off

    each_strip(strip, range(0, len(z), STRIP_ROWS))
