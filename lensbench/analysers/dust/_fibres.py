"""Fibres: a path, and the profile across it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._mark_profile import cutoff_radius, relative_depth
from lensbench.analysers.dust._paths import extended, least_distance, normals, resampled
from lensbench.analysers.dust._residual import Residual
from lensbench.findings import Figure

JOIN_PX = 16.0
"""Fibres whose ends lie closer than this, and in line, are one (chosen by experience)."""

ALIKE, WIDTHS_ALIKE = 2.0, 3.0
"""And their depths times widths, and their widths, differ by less than these factors: of a short piece the product
is known best (chosen by experience)."""

LOOP_ROOMS, LOOP_AWAY = 1.5, 1.4
"""A loop is longer than the distance at which ends are joined, and than what it spans of the line, by these
factors at least (chosen by experience)."""

BRIDGED = 3.0
"""And so many times this apart where the way between them lies on one of them (chosen by experience)."""

LOOP_SHARE, WAY_POINTS = 0.25, 8
"""Share of a loop's length over which it may lie beside the line that it leaves, and points of a path that tell
its direction (chosen by experience)."""

LEAST_TURN, MOST_TURN, SHARPEST_PX = 1.2, 2.4, 30.0
"""How much its direction may differ (in radians) where the two touch, and at most, and the radius of the sharpest
bend within a gap (chosen by experience)."""


@dataclass(frozen=True, eq=False)
class Fibre:
    """A fibre's shadow: depth × exp(−ln 2 · (2 · distance / width)^steepness) around a path.

    Attributes
    ----------
    path : ndarray, shape (points, 2)
        Its centre line in pixels, a point a cell or so.
    steepness : float
        Of the rims: 2 is a Gaussian.
    width, length : Figure
        Across at half depth, and along, in pixels.
    depth : Figure
        In percent of the light around, darker positive.
    signal_to_noise : float
        Of the filter matched to it.
    """

    path: NDArray[np.float64]
    steepness: float
    width: Figure
    length: Figure
    depth: Figure
    signal_to_noise: float

    @property
    def x(self) -> float:
        """Position of its central point, in pixels."""
        return float(self.path[len(self.path) // 2, 0])

    @property
    def y(self) -> float:
        """Position of its central point, in pixels."""
        return float(self.path[len(self.path) // 2, 1])

    def distance(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Distance of positions to the path in pixels; far from it to within a few percent."""
        positions = np.stack([np.ravel(x), np.ravel(y)], axis=1).astype(float)
        thin = self.path[:: max(len(self.path) // 40, 1)]
        near = least_distance(positions, np.concatenate([thin, self.path[-1:]]))
        gap = np.hypot(*np.diff(thin, axis=0).T).max(initial=1.0)
        close = near < self.reach + 10 * gap
        near[close] = least_distance(positions[close], self.path)
        return near.reshape(np.shape(x))

    def radius(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Distance from the path at positions in pixels, in units of that at half depth."""
        return 2 * self.distance(x, y) / self.width.value

    def shares(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Depth at positions in pixels over that at its centre line."""
        return relative_depth(self.radius(x, y), self.steepness)

    @property
    def reach(self) -> float:
        """Distance from the path at which its shadow ends."""
        return cutoff_radius(self.steepness) * self.width.value / 2

    @property
    def box(self) -> Box:
        """The part of the frame that it changes."""
        return Box(*self.path.min(axis=0), *self.path.max(axis=0)).grown(self.reach + CELL_PX)

    def subtract_from(self, z: NDArray[np.float32], residual: Residual, share: float = 1.0) -> None:
        """Subtract a share of its shadow from cells, in place (-1 adds it back)."""
        path = (self.path - (CELL_PX - 1) / 2) / CELL_PX
        reach = self.reach / CELL_PX
        offsets = np.arange(-reach, reach + 0.5, 0.5)
        fine = resampled(path, 0.5)
        # The shadow of an end is round: cells beyond it count from there.
        longer = extended(fine, reach, 0.5)
        beyond = (len(longer) - len(fine)) // 2
        nearest = np.pad(fine, ((beyond, beyond), (0, 0)), mode="edge")
        cells_around = np.rint(longer[:, None] + offsets[:, None] * normals(longer)[:, None]).astype(int)
        column, row = cells_around.reshape(-1, 2).T
        inside = (row >= 0) & (row < z.shape[0]) & (column >= 0) & (column < z.shape[1])
        away = np.hypot(*(cells_around - nearest[:, None]).reshape(-1, 2).T)[inside]
        cells, number = np.unique(row[inside] * z.shape[1] + column[inside], return_inverse=True)
        distance = np.full(len(cells), np.inf)
        np.minimum.at(distance, number, away)
        rows, columns = np.divmod(cells, z.shape[1])
        strength = residual.strength_at(columns * CELL_PX, rows * CELL_PX)
        profile = relative_depth(2 * CELL_PX * distance / self.width.value, self.steepness)
        shadow = share * self.depth.value / 100 * strength * profile
        z[rows, columns] -= shadow.astype(np.float32)


def straight_fibre(blob: Blob) -> Fibre:
    """The fibre that an elongated shape may be a piece of."""
    line = resampled(blob.ends / CELL_PX) * CELL_PX
    return Fibre(line, blob.steepness, blob.width, blob.length, blob.depth, blob.signal_to_noise)


class Join(NamedTuple):
    """The path of two fibres together, and how far from straight on it goes where they meet (0 to 2)."""

    path: NDArray[np.float64]
    turn: float


def join_of(one: Fibre, other: Fibre) -> Join | None:
    """Two fibres of one sign and alike of which one continues the other; None where neither does."""
    wider = other.width.value / one.width.value
    area = wider * other.depth.value / one.depth.value
    if not (1 / ALIKE < area < ALIKE and 1 / WIDTHS_ALIKE < wider < WIDTHS_ALIKE):
        return None
    # How long a fibre is counts both of its ends.
    room = JOIN_PX + one.width.value + other.width.value + (one.length.half_width + other.length.half_width) / 2
    across = max(one.width.value, other.width.value) / 2 + CELL_PX
    least, best = np.inf, None
    for first in (one.path, one.path[::-1]):
        for second in (other.path, other.path[::-1]):
            gaps = np.hypot(*(second - first[-1]).T)
            start = int(np.argmin(gaps))
            own = BRIDGED * room if _is_bridged(first, second[start], across) else room
            if gaps[start] < min(least, own) and _continues(first, second, start, across):
                turn = 1 + float(_way(first[::-1], across) @ _way(second[start:], across))
                least, best = float(gaps[start]), Join(np.concatenate([first, second[start:]]), turn)
    if best is None:
        path = _with_loop(one.path, other.path, room)
        best = None if path is None else Join(path, 0.0)
    return best


def _is_bridged(path: NDArray, point: NDArray, across: float) -> bool:
    """Whether the straight way from a path's end to a point lies on its own earlier part, as past a loop."""
    between = path[-1] + np.linspace(0.2, 0.8, 7)[:, None] * (point - path[-1])
    return bool(least_distance(between, path[: -len(path) // 4]).max() < across)


def _with_loop(path: NDArray, loop: NDArray, room: float) -> NDArray[np.float64] | None:
    """A path with a loop put in where both ends of that touch it at one place; None where they don't."""
    for line, whole in ((path, loop), (loop, path)):
        ring = _ring(whole, line, room)
        gaps = [np.hypot(*(line - end).T) for end in (ring[0], ring[-1])]
        places = [int(np.argmin(gap)) for gap in gaps]
        first, last = min(places), max(places)
        # Where it leaves at a small angle, the two ways lie side by side for some length.
        length = _length(ring)
        beside = _length(line[first : last + 1])
        closes = beside < max(2 * room, LOOP_SHARE * length) and max(float(gap.min()) for gap in gaps) < room
        if not closes or length < max(LOOP_ROOMS * room, LOOP_AWAY * beside):
            continue
        # The way that bends less: around it and on, or past it, around, and past it again.
        ways = [
            (line[:end], turned, line[begin:])
            for end, begin in ((first, last + 1), (last + 1, first))
            for turned in (ring, ring[::-1])
        ]
        return np.concatenate(max(ways, key=lambda way: _straightness(*way[:2]) + _straightness(*way[1:])))
    return None


def _ring(path: NDArray, line: NDArray, room: float) -> NDArray[np.float64]:
    """A path around a ring from where it comes closest to a line, and without what lies beyond that place."""
    away = least_distance(path, line)
    if np.hypot(*(path[-1] - path[0])) < room:
        # It is closed, wherever it was found to begin.
        return np.roll(path, -int(np.argmin(away)), axis=0)
    third = max(len(path) // 3, 1)
    apart = np.hypot(*(path[:third, None] - path[None, -third:]).transpose(2, 0, 1))
    apart = apart + away[:third, None] + away[None, -third:]
    first, last = np.unravel_index(np.argmin(apart), apart.shape)
    return path[first : len(path) - third + int(last) + 1]


def _straightness(before: NDArray, after: NDArray) -> float:
    """How nearly straight one piece goes on as the next, from gap to gap: up to 2; 0 where one is too short."""
    if min(len(before), len(after)) < WAY_POINTS:
        return 0.0
    leaves, arrives = before[-1] - before[-WAY_POINTS], after[WAY_POINTS - 1] - after[0]
    gap = after[0] - before[-1]
    along = leaves / max(float(np.hypot(*leaves)), 1e-9) + arrives / max(float(np.hypot(*arrives)), 1e-9)
    apart = max(float(np.hypot(*gap)), float(np.hypot(*leaves)))
    return float(leaves @ arrives / max(np.hypot(*leaves) * np.hypot(*arrives), 1e-9) + along @ gap / (2 * apart))


def _length(path: NDArray) -> float:
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


def _continues(first: NDArray, second: NDArray, start: int, across: float) -> bool:
    """Whether a second path, from its point of number `start` on, continues a first one."""
    before, rest = second[:start], second[start:]
    if len(rest) < 5:
        return False
    gap = rest[0] - first[-1]
    apart = float(np.hypot(*gap))
    ways = -_way(first[::-1], across), _way(rest, across)
    # Within the gap it may bend.
    if ways[0] @ ways[1] < np.cos(min(LEAST_TURN + apart / SHARPEST_PX, MOST_TURN)):
        return False
    if apart > across and min(ways[0] @ gap, ways[1] @ gap) < -0.3 * apart:
        return False
    # They may overlap where they meet, there only: what lies before is on the first, what lies beyond is not.
    overlaps = not len(before) or float(np.median(least_distance(before, first))) < across
    beyond = least_distance(rest, first) < across
    return overlaps and float(np.mean(beyond)) < 0.6


def _way(path: NDArray, across: float) -> NDArray[np.float64]:
    """Direction in which a path begins, as a unit vector."""
    run = np.hypot(*(path - path[0]).T)
    far = np.flatnonzero(run >= max(across, JOIN_PX))
    way = path[far[0] if len(far) else len(path) - 1] - path[0]
    return way / max(float(np.hypot(*way)), 1e-9)
