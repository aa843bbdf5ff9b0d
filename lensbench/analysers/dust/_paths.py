"""Geometry of paths: points, shape (n, 2), about a cell or so apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

PARALLEL = 0.8
"""Cosine of the angle from which a path that meets itself closes; at a larger angle it crosses (chosen by
experience)."""

ALONG_CELLS, APART_CELLS = 2.5, 16
"""Cells between a path and an earlier part of it along which it runs, and points between the two at least."""

MOST_POINTS = 600
"""Of longer paths not every point is compared with every other."""


def least_distance(positions: NDArray, path: NDArray) -> NDArray[np.float64]:
    """Distance of each position to the nearest point of a path, shape (positions,)."""
    across = positions[:, None, 0] - path[None, :, 0]
    down = positions[:, None, 1] - path[None, :, 1]
    return np.sqrt((across * across + down * down).min(axis=1, initial=np.inf))


def extended(path: NDArray, cells: float, step: float = 1.0) -> NDArray[np.float64]:
    """A path with straight pieces of `cells` added at both ends, a point every `step` cells."""
    back = min(round(6 / step), len(path) - 1)
    ends = path[0] - path[back], path[-1] - path[-1 - back]
    head, tail = (way / max(np.hypot(*way), 1e-9) for way in ends)
    steps = np.arange(step, cells + step / 2, step)[:, None]
    return np.concatenate([path[0] + steps[::-1] * head, path, path[-1] + steps * tail])


def resampled(path: NDArray, step: float = 1.0) -> NDArray[np.float64]:
    """The path, slightly smoothed, with a point every `step` cells."""
    smooth = path.copy()
    for _ in range(2):
        smooth[1:-1] = 0.25 * smooth[:-2] + 0.5 * smooth[1:-1] + 0.25 * smooth[2:]
    run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(smooth, axis=0).T))])
    at = np.linspace(0, run[-1], max(round(run[-1] / step), 2) + 1)
    return np.stack([np.interp(at, run, smooth[:, 0]), np.interp(at, run, smooth[:, 1])], axis=1)


def normals(path: NDArray) -> NDArray[np.float64]:
    """Unit normals of a path, shape (n, 2)."""
    way = np.gradient(path, axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return np.stack([-way[:, 1], way[:, 0]], axis=1)


def cells_beside(path: NDArray, reach: float) -> tuple[NDArray, NDArray, NDArray]:
    """Columns and rows of the cells within `reach` of a path, each once, and their signed distances to it."""
    fine = resampled(path, 0.5)
    normal = normals(fine)
    offsets = np.arange(-reach, reach + 0.5, 0.5)
    cells = np.rint(fine[:, None] + offsets[:, None] * normal[:, None]).astype(int)
    away = ((cells - fine[:, None]) * normal[:, None]).sum(axis=-1).ravel()
    apart = np.hypot(*(cells - fine[:, None]).reshape(-1, 2).T)
    cells = cells.reshape(-1, 2)
    order = np.argsort(apart, kind="stable")
    _, first = np.unique(cells[order, 1] * 65536 + cells[order, 0], return_index=True)
    chosen = order[first]
    keep = np.abs(away[chosen]) <= reach
    return cells[chosen, 0][keep], cells[chosen, 1][keep], away[chosen][keep]


def once(path: NDArray) -> NDArray[np.float64]:
    """A path in cells without what runs along its own first part at its end, as around a ring."""
    thinned = -(-len(path) // MOST_POINTS)
    some, apart = path[::thinned], APART_CELLS // thinned
    if len(path) < 4 * APART_CELLS:
        return path
    ways = np.gradient(some, axis=0)
    ways /= np.maximum(np.hypot(*ways.T), 1e-9)[:, None]
    near = np.hypot(*(some[:, None] - some[None]).transpose(2, 0, 1)) < max(ALONG_CELLS, thinned)
    earlier = np.tril(near & (np.abs(ways @ ways.T) > PARALLEL), -apart).any(axis=1)
    # A closed one ends where it began.
    return path[: thinned * (np.flatnonzero(~earlier)[-1] + 1) + int(ALONG_CELLS)]
