"""Where edges should lie, and how far the clear light and dark reach beside them."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS

NEIGHBOURS = 12
"""Tiles around each that are asked how far they leave its bright sides clear, and what light they keep from it."""

OTHER_SIDES = np.array([[1, 2], [0, 2], [0, 1]])
"""The two sides of a triangle that each of its sides ends at."""


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
    side : ndarray of int, shape (n,)
        Which side of a triangle an edge is, 0 to 2, its walls being the lower and the higher of the others; -1
        for an edge that merely ends at its walls.
    around : ndarray, shape (n, k, 3, 2)
        Corners (x, y) of the other figures near each edge, which keep tail light from it; NaN where there are
        fewer.
    """

    ends_px: NDArray[np.float64]
    normal: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    walls: NDArray[np.float64]
    group: NDArray[np.int64]
    side: NDArray[np.int64]
    around: NDArray[np.float64]

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
        return EdgePlaces(*(getattr(self, f.name)[which] for f in fields(self)))

    def moved(self, offset: NDArray, turn: NDArray) -> EdgePlaces:
        """The places with each line shifted along its normal (pixels) and turned by a slope towards it."""
        scale = 1 / np.sqrt(1 + turn**2)[:, None]
        along = (self.along + turn[:, None] * self.normal) * scale
        normal = (self.normal - turn[:, None] * self.along) * scale
        middle = self.middle + offset[:, None] * self.normal
        half = self.half_length[:, None]
        ends = np.stack([middle - half * along, middle + half * along], axis=1)
        return replace(self, ends_px=ends, normal=normal)

    def span(self, margin: NDArray, size: tuple[int, int]) -> tuple[NDArray, NDArray]:
        """The part of each line that lies in the frame and at least a margin from both walls.

        Parameters
        ----------
        margin : ndarray, shape (n,)
            In pixels.
        size : (int, int)
            Width and height of the frame.

        Returns
        -------
        low, high : ndarray, shape (n,)
            Along each line from its middle, in pixels; high below low where nothing is left.
        """
        middle, along = self.middle, self.along
        lines = [(self.walls[:, k, :2], self.walls[:, k, 2] - margin) for k in (0, 1)]
        for axis in (0, 1):
            inward = np.zeros_like(middle)
            inward[:, axis] = 1.0
            lines += [(inward, np.zeros(len(self))), (-inward, np.full(len(self), size[axis] - 1.0))]
        low, high = -self.half_length, self.half_length
        for direction, constant in lines:
            here = np.einsum("nc,nc->n", direction, middle) + constant
            rise = np.einsum("nc,nc->n", direction, along)
            level = np.abs(rise) < 1e-9
            limit = -here / np.where(level, 1.0, rise)
            low = np.where(~level & (rise > 0), np.maximum(low, limit), low)
            high = np.where(~level & (rise < 0), np.minimum(high, limit), high)
            high = np.where(level & (here < 0), low - 1, high)
        return low, high


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
    return EdgePlaces(ends, normal, reach, walls, np.arange(n), np.full(n, -1), np.zeros((n, 0, 3, 2)))


def tile_edges(found: FoundTiles) -> EdgePlaces:
    """Places of the three edges of every found tile: edge 3 i + k is leg k of tile i (`target.layout.LEGS`).

    Parameters
    ----------
    found : FoundTiles
        From `find_tiles`.

    Returns
    -------
    EdgePlaces
        What `measure_edges` takes.

    Examples
    --------
    >>> import numpy as np
    >>> from lensbench import tile_edges
    >>> from lensbench.target import FoundTiles
    >>> corners = np.array([[[100.0, 100.0], [180.0, 108.0], [92.0, 180.0]]])
    >>> tiles = FoundTiles(np.array([3]), np.array([2]), corners, np.array([True]), mirrored=False)
    >>> places = tile_edges(tiles)
    >>> len(places), places.middle[0].tolist()
    (3, [140.0, 104.0])
    """
    corners = np.asarray(found.corners_px, float)
    n = len(corners)
    ends = corners[:, LEG_CORNERS, :].reshape(-1, 2, 2)
    opposite = corners[:, ::-1].reshape(-1, 2)  # the legs join corners 01, 02, 12 and face 2, 1, 0
    normal = _normal_towards(ends, ends.mean(axis=1) - opposite)
    lines = np.concatenate([-normal, np.einsum("nc,nc->n", normal, ends[:, 0])[:, None]], axis=1)
    walls = lines.reshape(n, 3, 3)[:, OTHER_SIDES].reshape(-1, 2, 3)
    dark = np.einsum("nc,nc->n", normal, ends[:, 0] - opposite)
    around = np.repeat(_neighbours(corners, found.others_px), 3, axis=0)
    bright = _clear_reach(ends, normal, around)
    reach = np.stack([dark, bright], axis=1)
    group, side = np.repeat(np.arange(n), 3), np.tile(np.arange(3), n)
    return EdgePlaces(ends, normal, reach, walls, group, side, around)


def _normal_towards(ends: NDArray, towards: NDArray) -> NDArray:
    along = ends[:, 1] - ends[:, 0]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    return normal * np.where(np.einsum("nc,nc->n", normal, towards) < 0, -1.0, 1.0)[:, None]


def _neighbours(corners: NDArray, others: NDArray) -> NDArray:
    """Corners of the tiles nearest to each, shape (n, NEIGHBOURS, 3, 2); NaN where there are fewer."""
    n = len(corners)
    every = np.concatenate([corners, others])
    middle = every.mean(axis=1)
    away = np.hypot(*np.moveaxis(middle[:n, None] - middle[None], -1, 0))
    order = np.argsort(away, axis=1)[:, 1 : NEIGHBOURS + 1]
    found = np.full((n, NEIGHBOURS, 3, 2), np.nan)
    found[:, : order.shape[1]] = every[order]
    return found


def _clear_reach(ends: NDArray, normal: NDArray, around: NDArray) -> NDArray:
    """How far the strip before each edge, as wide as the edge, stays clear of the tiles around."""
    middle = ends.mean(axis=1)
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    along = (ends[:, 1] - ends[:, 0]) / length[:, None]
    offset = around - middle[:, None, None]
    t = np.einsum("nkpc,nc->nkp", offset, along)
    u = np.einsum("nkpc,nc->nkp", offset, normal)
    lowest = _lowest_in_strip(t, u, length / 2)
    # Without neighbours the sheet's own margin is not known; a leg's length is a safe guess.
    return np.minimum(np.nan_to_num(lowest, nan=np.inf).min(axis=1, initial=np.inf), length)


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
