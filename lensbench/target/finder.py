"""The tiles of the target in a shot, each with its lattice place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class FoundTiles:
    """The tiles found in one shot.

    Attributes
    ----------
    column, row : ndarray of int, shape (tiles,)
        Lattice place in the layout.
    corners_px : ndarray, shape (tiles, 3, 2)
        Corners in the layout's order, in pixels, to ±1 px; outside the frame where the border cuts the tile
        (then reckoned from the mapping of its neighbours).
    whole : ndarray of bool, shape (tiles,)
        Whether the tile lies wholly in the frame.
    mirrored : bool
        Whether the print (or the film) was seen from its back.
    notes : tuple of str
        What was not found, and why, in sentences for the user.
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    corners_px: NDArray[np.float64]
    whole: NDArray[np.bool_]
    mirrored: bool
    notes: tuple[str, ...] = ()
