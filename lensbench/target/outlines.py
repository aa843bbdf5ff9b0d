"""Dark three-cornered figures on bright paper: the shot made smaller, its outlines, the corners that fit them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from skimage.measure import find_contours

from lensbench.shot import Shot

REDUCED_WIDTH = 1500
"""About how many blocks the longer side of the reduced picture has."""

COARSER = 8
"""Blocks that one step of the paper's surface takes in, each way."""

DARK = 0.5
"""Light over that of the paper around, at which outlines run: half-way, but for the ink's own light."""

SMALLEST_LEG = 8.0
"""Figures with shorter legs, in blocks, are texture, not tiles."""

STRAIGHT = 0.02
"""Largest root mean square distance of a side from an evenly bent line, over its length."""

MOST_BEND = 0.5
"""Largest bend of a side: four times its rise over its length."""


@dataclass(frozen=True, eq=False)
class Reduced:
    """A shot's reference channel as means over square blocks, over the paper's light around.

    `relative` is 1 on paper and near 0 in ink, shape (down, across); block [row, column] has its centre at
    x = block * column + (block - 1) / 2 in the shot, y likewise. `readable` is False where the paper itself holds
    too little light.
    """

    relative: NDArray[np.float32]
    readable: NDArray[np.bool_]
    block: int

    def to_shot(self, places: NDArray) -> NDArray:
        """Places (x, y) in blocks to places in the shot's pixels."""
        return places * self.block + (self.block - 1) / 2

    def from_shot(self, places: NDArray) -> NDArray:
        """Places (x, y) in the shot's pixels to places in blocks."""
        return (places - (self.block - 1) / 2) / self.block


def reduce_shot(shot: Shot) -> Reduced:
    """Average the reference channel over blocks and divide by the paper's light, which may fall off by stops."""
    repeat = 1 if shot.pattern is None else int(np.lcm(*shot.pattern.shape))
    block = repeat * max(round(max(shot.size) / REDUCED_WIDTH / repeat), 1)
    light = _block_means(shot, block)
    paper = _paper(light)
    floor = 0.002 * shot.full_scale(shot.reference)
    relative = np.clip(light / np.maximum(paper, floor), 0, 2).astype(np.float32)
    return Reduced(relative, paper > floor, block)


def _block_means(shot: Shot, block: int) -> NDArray[np.float32]:
    down, across = shot.size[1] // block, shot.size[0] // block
    total, count = np.zeros((down, across), np.float32), 0
    for samples, _, step, index in shot.sublattices(shot.reference):
        columns, rows = block // step[0], block // step[1]
        part = samples[: down * rows, : across * columns].reshape(down, rows, across, columns)
        # Row by row of a block: numpy adds strided whole numbers fastest that way.
        sums = sum(part[:, i, :, j].astype(np.float32) for i in range(rows) for j in range(columns))
        mean = (sums / (rows * columns) - np.float32(shot.black[index])) * np.float32(shot.gain[index])
        total += mean
        count += 1
    return total / count


def _paper(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """The light of the bare paper everywhere: a smooth surface through what is bright for its surroundings."""
    down, across = (max(n // COARSER, 1) for n in light.shape)
    cut = light[: down * COARSER, : across * COARSER] if min(light.shape) >= COARSER else light[:1, :1]
    coarse = cut.reshape(down, cut.shape[0] // down, across, cut.shape[1] // across).mean(axis=(1, 3))
    # In stops, in which falloff is nearly straight over the width of the window.
    stops = np.log2(np.maximum(coarse, max(float(coarse.max()) * 1e-3, 1e-6)))
    wide = max(stops.shape) / 14
    around = gaussian_filter(stops, wide, mode="nearest", truncate=2)
    for narrower, allowed in ((1.0, 0.3), (0.6, 0.35)):
        bright = (stops > around - allowed).astype(np.float32)
        weight = gaussian_filter(bright, wide * narrower, mode="nearest", truncate=2)
        around = gaussian_filter(stops * bright, wide * narrower, mode="nearest", truncate=2)
        around /= np.maximum(weight, 1e-3)
    return np.exp2(_between(light.shape[0], down) @ around @ _between(light.shape[1], across).T)


def _between(fine: int, coarse: int) -> NDArray[np.float32]:
    """The matrix that interpolates means over COARSER blocks to the blocks, straight and level at the ends."""
    places = (np.arange(fine) - (COARSER - 1) / 2) / COARSER
    return np.array([np.interp(places, np.arange(coarse), one) for one in np.eye(coarse)], np.float32).T


@dataclass(frozen=True, eq=False)
class Triangles:
    """Figures with three straight sides.

    Attributes
    ----------
    corners : ndarray, shape (n, 3, 2)
        In blocks, (x, y); the corner nearest to a right angle first, the others clockwise as seen.
    """

    corners: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.corners)

    @property
    def nodes(self) -> NDArray[np.float64]:
        """Midpoints of the long sides, shape (n, 2)."""
        return self.corners[:, 1:].mean(axis=1)


def find_triangles(picture: Reduced) -> Triangles:
    """Find every closed dark outline that three straight sides explain, one near a right angle."""
    found = []
    smooth = gaussian_filter(picture.relative, 0.7)
    for outline in find_contours(smooth, DARK, fully_connected="low"):
        if len(outline) < 3 * SMALLEST_LEG or (outline[0] != outline[-1]).any():
            continue
        corners = _three_corners(outline[:-1, ::-1])
        if corners is not None and _is_dark_inside(smooth, corners):
            found.append(corners)
    corners = np.array(found).reshape(-1, 3, 2)
    return Triangles(corners[_of_common_size(corners)])


def _three_corners(outline: NDArray) -> NDArray | None:
    """The corners of the triangle that an outline follows, or None where it follows none."""
    rough = _extreme_corners(outline)
    lengths = np.linalg.norm(np.roll(rough, -1, axis=0) - rough, axis=1)
    if lengths.min() < SMALLEST_LEG or lengths.max() > 4 * lengths.min():
        return None
    sides = [_side(outline, rough[i], rough[(i + 1) % 3]) for i in range(3)]
    if any(side is None for side in sides):
        return None
    corners = rough
    # Sides may be bent, so that where two meet depends a little on where they are taken to meet.
    for _ in range(3):
        corners = np.array([_meeting(sides[i - 1], sides[i], corners[i]) for i in range(3)])
    if not np.isfinite(corners).all() or np.abs(corners - rough).max() > 0.5 * lengths.min():
        return None
    return _right_angle_first(corners)


def _extreme_corners(outline: NDArray) -> NDArray:
    """Three far points of an outline: from its middle, from that one, and from the line through both."""
    first = outline[np.argmax(((outline - outline.mean(axis=0)) ** 2).sum(axis=1))]
    second = outline[np.argmax(((outline - first) ** 2).sum(axis=1))]
    along = second - first
    off = (outline[:, 0] - first[0]) * along[1] - (outline[:, 1] - first[1]) * along[0]
    return np.array([first, second, outline[np.argmax(np.abs(off))]])


@dataclass(frozen=True, eq=False)
class _Side:
    """A slightly bent side: start + t along + (bend in powers of t, highest first) normal, t from 0 to 1."""

    start: NDArray
    along: NDArray
    normal: NDArray
    bend: NDArray

    def tangent(self, near: NDArray) -> tuple[NDArray, NDArray]:
        """A point and the direction of the side at the foot of a point near to it."""
        t = (near - self.start) @ self.along / (self.along @ self.along)
        point = self.start + t * self.along + np.polyval(self.bend, t) * self.normal
        return point, self.along + np.polyval(np.polyder(self.bend), t) * self.normal


def _side(outline: NDArray, start: NDArray, end: NDArray) -> _Side | None:
    """The side that an outline's points between two corners lie on, clear of both; None where they lie on none."""
    along = end - start
    length = np.hypot(*along)
    normal = np.array([-along[1], along[0]]) / length
    t = (outline - start) @ along / length**2
    off = (outline - start) @ normal
    # The other sides run off at 45° or so.
    chosen = (t > 0.15) & (t < 0.85) & (np.abs(off) < 0.6 * length * np.minimum(t, 1 - t))
    if chosen.sum() < 6:
        return None
    bend = np.polyfit(t[chosen], off[chosen], 2)
    rest = off[chosen] - np.polyval(bend, t[chosen])
    if np.sqrt(np.mean(rest**2)) > STRAIGHT * length or abs(bend[0]) > MOST_BEND * length:
        return None
    return _Side(start, along, normal, bend)


def _meeting(one: _Side, other: _Side, near: NDArray) -> NDArray:
    """Where the tangents of two sides at a place near to both meet; NaN where they don't."""
    (p, u), (q, v) = one.tangent(near), other.tangent(near)
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < 0.1 * np.hypot(*u) * np.hypot(*v):
        return np.full(2, np.nan)
    return p + u * ((q - p)[0] * v[1] - (q - p)[1] * v[0]) / cross


def _right_angle_first(corners: NDArray) -> NDArray | None:
    """The corners clockwise as seen from the one nearest to a right angle; None where none is near it."""
    one, other = np.roll(corners, -1, axis=0) - corners, np.roll(corners, 1, axis=0) - corners
    cosine = (one * other).sum(axis=1) / (np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1))
    right = int(np.argmin(np.abs(cosine)))
    if abs(cosine[right]) > 0.35:
        return None
    corners = np.roll(corners, -right, axis=0)
    # With y down, a positive turn from the second corner to the third is clockwise as seen.
    (ax, ay), (bx, by) = corners[1] - corners[0], corners[2] - corners[0]
    return corners if ax * by - ay * bx > 0 else corners[[0, 2, 1]]


def _is_dark_inside(picture: NDArray, corners: NDArray) -> bool:
    x, y = np.round(corners.mean(axis=0)).astype(int)
    inside = 0 <= x < picture.shape[1] and 0 <= y < picture.shape[0]
    return bool(inside and picture[y, x] < DARK)


def _of_common_size(corners: NDArray) -> NDArray[np.bool_]:
    """Which figures are about as large as most of them: a lens may draw the corners at half or twice the size."""
    if not len(corners):
        return np.zeros(0, bool)
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    size = np.sqrt(np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]))
    return np.abs(np.log2(size / np.median(size))) < 1.6
