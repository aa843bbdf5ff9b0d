"""Where every corner of the set-square target lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEGS = ("along", "across", "slant")
"""The three edges of a tile: the leg along the target's radius, the other leg, the long side.

With the corners in the order (right angle, end of the leg along the radius, end of the other), leg `along` runs
from corner 0 to 1, `across` from 0 to 2, `slant` from 1 to 2.
"""

LEG_CORNERS = ((0, 1), (0, 2), (1, 2))
"""The two corners that each of `LEGS` joins."""


@dataclass(frozen=True, eq=False)
class Layout:
    """The target as designed, in millimetres from its centre, x right, y down.

    Attributes
    ----------
    pitch_mm : float
        Distance of neighbouring lattice nodes.
    columns, rows : int
        Size of the lattice.
    rulers_mm : (float, float)
        Designed lengths of the ruler bars across and up.
    column, row : ndarray of int, shape (tiles,)
        Lattice place of each tile, 0 at the left and at the top.
    corners_mm : ndarray, shape (tiles, 3, 2)
        Right angle, end of the leg along the radius, end of the other leg.
    """

    pitch_mm: float
    columns: int
    rows: int
    rulers_mm: tuple[float, float]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    corners_mm: NDArray[np.float64]
