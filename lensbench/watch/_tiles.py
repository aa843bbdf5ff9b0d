"""Which of the tiles found a look needs: a few in the middle and in each corner, and some all over the frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.frame import centre_of, h_of
from lensbench.target.finder import FoundTiles
from lensbench.watch._looks import SPOTS

TILES_A_SPOT = 3
"""Tiles measured at each spot: nine edges (chosen by experience)."""

GRID = 7, 5
"""Points across and down the frame whose nearest tiles show how the sheet lies: enough for three terms of
distortion."""

CENTRE_H, CORNER_H = 0.3, 0.7
"""Tiles up to the first are the centre's; those from the second on are a corner's."""

OTHERS = len(SPOTS)
"""The number of tiles that lie at none of the spots."""


def wanted_tiles(found: FoundTiles, size: tuple[int, int]) -> NDArray[np.int64]:
    """Numbers of the tiles to measure, in rising order."""
    middle = found.corners_px[:, 1:].mean(axis=1)
    wanted: set[int] = set()
    for point in _grid(size):
        wanted.add(int(np.argmin(np.hypot(*(middle - point).T))))
    for point in _spot_points(size):
        wanted.update(np.argsort(np.hypot(*(middle - point).T))[:TILES_A_SPOT].tolist())
    return np.array(sorted(wanted))


def spots_of(found: FoundTiles, size: tuple[int, int]) -> NDArray[np.int64]:
    """The number of the spot that each tile lies at, `OTHERS` for none."""
    x, y = found.corners_px[:, 1:].mean(axis=1).T
    h = h_of(x, y, size)
    cx, cy = centre_of(size)
    right, low = x > cx, y > cy
    corner = np.where(low, np.where(right, 3, 4), np.where(right, 2, 1))
    return np.where(h < CENTRE_H, 0, np.where(h > CORNER_H, corner, OTHERS))


def _spot_points(size: tuple[int, int]) -> list[NDArray[np.float64]]:
    """Where the spots lie, in the order of `SPOTS`."""
    right, low = size[0] - 1.0, size[1] - 1.0
    corners = [(0.0, 0.0), (right, 0.0), (right, low), (0.0, low)]
    return [np.array(point) for point in (centre_of(size), *corners)]


def _grid(size: tuple[int, int]) -> NDArray[np.float64]:
    x, y = (np.linspace(0, length - 1, count) for length, count in zip(size, GRID, strict=True))
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
