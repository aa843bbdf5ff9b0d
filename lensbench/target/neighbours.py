"""Where the other tiles must lie, reckoned from the found ones around, and how well they are seen there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from lensbench.target.layout import LEG_CORNERS
from lensbench.target.outlines import DARK, Reduced

AROUND = 9
"""Found tiles that a tile's place is reckoned from."""

SEARCH = 0.14
"""How far, in legs, an edge may lie from where it was reckoned."""


def reckon_corners(
    wanted_mm: NDArray, known_mm: NDArray, known: NDArray, leave_out: NDArray | None = None
) -> NDArray[np.float64]:
    """Corners of tiles from a bent plane through the corners of the nearest known tiles.

    Parameters
    ----------
    wanted_mm : ndarray, shape (n, 3, 2)
        Corners on the sheet.
    known_mm, known : ndarray, shape (k, 3, 2)
        Corners of known tiles on the sheet, and in the picture.
    leave_out : ndarray of int, shape (n,), optional
        A known tile each that must not take part.

    Returns
    -------
    ndarray, shape (n, 3, 2)
        In the picture.
    """
    nodes = known_mm[:, 1:].mean(axis=1)
    out = np.empty_like(wanted_mm, dtype=float)
    for i, corners in enumerate(wanted_mm):
        node = corners[1:].mean(axis=0)
        away = ((nodes - node) ** 2).sum(axis=1)
        if leave_out is not None:
            away[leave_out[i]] = np.inf
        near = np.argsort(away)[: min(AROUND, len(nodes) - (leave_out is not None))]
        scale = np.sqrt(away[near].max())
        terms = _bent_plane((known_mm[near].reshape(-1, 2) - node) / scale)
        bend, *_ = np.linalg.lstsq(terms, known[near].reshape(-1, 2), rcond=None)
        out[i] = _bent_plane((corners - node) / scale) @ bend
    return out


def _bent_plane(places: NDArray) -> NDArray:
    x, y = places.T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def settle_on_edges(corners: NDArray, picture: Reduced) -> NDArray | None:
    """Move a reckoned tile onto the edges seen around it.

    Parameters
    ----------
    corners : ndarray, shape (3, 2)
        In blocks.

    Returns
    -------
    ndarray, shape (3, 2), or None
        None where no dark tile is seen there.
    """
    centre = corners.mean(axis=0)
    weight = np.random.default_rng(0).dirichlet((2, 2, 2), 60)
    inside = _look_up(picture, weight @ corners)
    inside = inside[np.isfinite(inside)]
    if len(inside) < 8 or np.mean(inside < DARK) < 0.8:
        return None
    lines = [_settled_line(corners[i], corners[j], centre, picture) for i, j in LEG_CORNERS]
    if sum(line is not None for line in lines) < 1:
        return None
    moved = [
        line if line is not None else (corners[i], corners[j])
        for line, (i, j) in zip(lines, LEG_CORNERS, strict=True)
    ]
    along, across, slant = moved
    return np.array([_crossing(along, across), _crossing(along, slant), _crossing(across, slant)])


def _look_up(picture: Reduced, places: NDArray) -> NDArray:
    """Relative light at places (x, y) in blocks, NaN outside of the frame."""
    return map_coordinates(picture.relative, places.T[::-1], order=1, mode="constant", cval=np.nan)


def _settled_line(
    start: NDArray, end: NDArray, centre: NDArray, picture: Reduced
) -> tuple[NDArray, NDArray] | None:
    """Two points of the line where dark turns bright near a reckoned edge, or None where too little is seen."""
    along = end - start
    length = np.hypot(*along)
    normal = np.array([along[1], -along[0]]) / length
    if normal @ (start - centre) < 0:
        normal = -normal
    t = np.linspace(0.2, 0.8, 25)
    offset = np.linspace(-SEARCH, SEARCH, 29) * length / np.sqrt(2)
    places = start + t[:, None, None] * along + offset[None, :, None] * normal
    light = _look_up(picture, places.reshape(-1, 2)).reshape(len(t), len(offset))
    rising = (light[:, :-1] < DARK) & (light[:, 1:] >= DARK)
    seen = (rising.sum(axis=1) == 1) & np.isfinite(light).all(axis=1)
    if seen.sum() < 5:
        return None
    first = np.argmax(rising[seen], axis=1)
    low, high = light[seen, first], light[seen, first + 1]
    crossing = offset[first] + (DARK - low) / (high - low) * (offset[1] - offset[0])
    middle = np.median(crossing)
    if np.ptp(t[seen]) < 0.3:
        return start + middle * normal, end + middle * normal
    slope, level = np.polyfit(t[seen], crossing, 1)
    return start + level * normal, end + (level + slope) * normal


def _crossing(one: tuple[NDArray, NDArray], other: tuple[NDArray, NDArray]) -> NDArray:
    (p, p2), (q, q2) = one, other
    u, v = p2 - p, q2 - q
    return p + u * ((q - p)[0] * v[1] - (q - p)[1] * v[0]) / (u[0] * v[1] - u[1] * v[0])
