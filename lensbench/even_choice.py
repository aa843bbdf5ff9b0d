"""A few of many things in a row, spread evenly over it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def evenly_chosen(count: int, most: int) -> NDArray[np.int64]:
    """Choose at most so many of a row of things, the first and the last among them.

    Parameters
    ----------
    count : int
        How many there are.
    most : int
        How many to choose at most; all are chosen where there are no more.

    Returns
    -------
    ndarray of int, shape (chosen,)
        Their numbers from 0, rising.
    """
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, most)).round().astype(np.int64))
