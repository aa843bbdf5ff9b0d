"""What lies around each value of a grid: medians, greatest values, and how far something can be carried on.

(For grids as small as blocks make them; SciPy's filters take longer to load than a flat takes to search.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def median_around(values: NDArray, reach: int, rows: slice = slice(None), columns: slice = slice(None)) -> NDArray:
    """The median of the neighbourhood, `reach` to every side, of some values on a grid; its rim mirrors them."""
    padded = np.pad(values, reach, mode="symmetric")
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * reach + 1, 2 * reach + 1))[rows, columns]
    return np.median(windows.reshape(*windows.shape[:2], -1), axis=-1)


def greatest_around(values: NDArray) -> NDArray:
    """The greatest of each value and its eight neighbours; of a mask, the mask grown by one."""
    tall = values.copy()
    np.maximum(tall[1:], values[:-1], out=tall[1:])
    np.maximum(tall[:-1], values[1:], out=tall[:-1])
    wide = tall.copy()
    np.maximum(wide[:, 1:], tall[:, :-1], out=wide[:, 1:])
    np.maximum(wide[:, :-1], tall[:, 1:], out=wide[:, :-1])
    return wide


def carried_on(start: NDArray, most: NDArray) -> NDArray:
    """The greatest value that can be carried to each place, from neighbour to neighbour, none ever above `most`.

    Of masks: the parts of `most` that `start` is joined to. (In morphology: the reconstruction of `start` under
    `most` by dilation.)
    """
    while True:
        further = np.minimum(greatest_around(start), most)
        if np.array_equal(further, start):
            return start
        start = further
