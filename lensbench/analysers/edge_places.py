"""Where edges should lie, and how far the clear light and dark reach beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS


@dataclass(frozen=True, eq=False)
class EdgePlaces:
    """Nominal straight lines, good to a pixel or two, along which dark meets bright.

    Attributes
    ----------
    ends_px : ndarray, shape (n, 2, 2)
        Both ends (x, y) of each line.
    normal : ndarray, shape (n, 2)
        Unit vector (x, y) across each line, towards the bright side.
    reach_px : ndarray, shape (n, 2)
        How far along the normal the dark and the bright side stay clear of anything else.
    walls : ndarray, shape (n, 2, 3)
        The two lines (a, b, c) at which the edge ends: a x + b y + c is the distance inside. Other edges of the
        same dark figure, or lines square to a free edge at its ends.
    group : ndarray of int, shape (n,)
        Edges of one group lie round one figure and share the slope of its light.
    """

    ends_px: NDArray[np.float64]
    normal: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    walls: NDArray[np.float64]
    group: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.ends_px)

    @property
    def middle(self) -> NDArray[np.float64]:
        """The middles (x, y), shape (n, 2)."""
        return self.ends_px.mean(axis=1)

    @property
    def half_length(self) -> NDArray[np.float64]:
        """Half of each line's length in pixels, shape (n,)."""
        return np.hypot(*(self.ends_px[:, 1] - self.ends_px[:, 0]).T) / 2

    @property
    def along(self) -> NDArray[np.float64]:
        """Unit vector (x, y) along each line, from its first end to its second, shape (n, 2)."""
        return (self.ends_px[:, 1] - self.ends_px[:, 0]) / (2 * self.half_length[:, None])

    def take(self, which: NDArray) -> EdgePlaces:
        """The places at some indices (or where a mask is true)."""
        return EdgePlaces(*(a[which] for a in (self.ends_px, self.normal, self.reach_px, self.walls, self.group)))


def blade_places(ends_px: NDArray, towards_bright: NDArray, reach_px: float | NDArray) -> EdgePlaces:
    """Places of free straight edges that belong to no tile.

    Parameters
    ----------
    ends_px : array_like, shape (n, 2, 2)
        Both ends (x, y) of each straight part.
    towards_bright : array_like, shape (n, 2)
        Any vector that points to the bright side.
    reach_px : array_like, broadcast to shape (n, 2)
        How far the dark and the bright side stay clear.
    """
    ends = np.asarray(ends_px, float)
    normal = _normal_towards(ends, np.asarray(towards_bright, float))
    n = len(ends)
    along = (ends[:, 1] - ends[:, 0]) / np.hypot(*(ends[:, 1] - ends[:, 0]).T)[:, None]
    inward = np.stack([along, -along], axis=1)
    walls = np.concatenate([inward, -np.einsum("nkc,nkc->nk", inward, ends)[..., None]], axis=2)
    reach = np.broadcast_to(np.asarray(reach_px, float), (n, 2)).copy()
    return EdgePlaces(ends, normal, reach, walls, np.arange(n))


def tile_edges(found: FoundTiles) -> EdgePlaces:
    """Places of the three edges of every found tile: edge 3 i + k is leg k of tile i (`target.layout.LEGS`)."""
    corners = np.asarray(found.corners_px, float)
    n = len(corners)
    ends = corners[:, LEG_CORNERS, :].reshape(-1, 2, 2)
    opposite = corners[:, ::-1].reshape(-1, 2)  # the legs join corners 01, 02, 12 and face 2, 1, 0
    normal = _normal_towards(ends, ends.mean(axis=1) - opposite)
    lines = np.concatenate([-normal, np.einsum("nc,nc->n", normal, ends[:, 0])[:, None]], axis=1)
    others = np.array([[1, 2], [0, 2], [0, 1]])
    walls = lines.reshape(n, 3, 3)[:, others].reshape(-1, 2, 3)
    dark = np.einsum("nc,nc->n", normal, ends[:, 0] - opposite)
    bright = _clear_reach(ends, normal, corners)
    return EdgePlaces(ends, normal, np.stack([dark, bright], axis=1), walls, np.repeat(np.arange(n), 3))


def _normal_towards(ends: NDArray, towards: NDArray) -> NDArray:
    along = ends[:, 1] - ends[:, 0]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    return normal * np.where(np.einsum("nc,nc->n", normal, towards) < 0, -1.0, 1.0)[:, None]


def _clear_reach(ends: NDArray, normal: NDArray, corners: NDArray, neighbours: int = 12) -> NDArray:
    """How far the strip before each edge, as wide as the edge, stays clear of the nearest other tiles."""
    middle = ends.mean(axis=1)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    tile = np.repeat(np.arange(len(corners)), 3)
    away = np.hypot(*np.moveaxis(middle[:, None] - corners.mean(axis=1)[None], -1, 0))
    away[np.arange(len(tile)), tile] = np.inf
    near = np.argsort(away, axis=1)[:, :neighbours]
    known = np.isfinite(np.take_along_axis(away, near, axis=1))
    along = (ends[:, 1] - ends[:, 0]) / length[:, None]
    offset = corners[near] - middle[:, None, None]
    t = np.einsum("nkpc,nc->nkp", offset, along)
    u = np.einsum("nkpc,nc->nkp", offset, normal)
    lowest = _lowest_in_strip(t, u, length / 2)
    lowest[~known] = np.inf
    # Without neighbours the sheet's own margin is not known; a leg's length is a safe guess.
    return np.minimum(lowest.min(axis=1, initial=np.inf), length)


def _lowest_in_strip(t: NDArray, u: NDArray, half: NDArray) -> NDArray:
    """The smallest u ≥ 0 that each triangle (corners t, u along the last axis) has within |t| ≤ half."""
    strip = half[:, None, None]
    best = np.where((np.abs(t) <= strip) & (u > 0), u, np.inf).min(axis=-1)
    t2, u2 = np.roll(t, -1, axis=-1), np.roll(u, -1, axis=-1)
    for side in (-strip, strip):
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (side - t) / (t2 - t)
            crossing = u + share * (u2 - u)
        valid = (share >= 0) & (share <= 1) & (crossing > 0)
        best = np.minimum(best, np.where(valid, crossing, np.inf).min(axis=-1))
    return best
