"""Clean straight edges anywhere in a shot: a blade or a foil before a light, no sheet needed.

On a smaller picture of the shot, the line along which the light is half-way between the brightest and the darkest
around is followed, cut where it turns a corner, and long parts are divided, since sharpness changes over the
frame. A part is kept where its line is smooth and both sides are even as far out as a profile needs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, maximum_filter, minimum_filter
from skimage.measure import approximate_polygon, find_contours

from lensbench.findings import Reason
from lensbench.frame import half_diagonal
from lensbench.noise import Noise, estimate_noise
from lensbench.reduction import reduce_reference, reduction_block
from lensbench.robust import robust_sigma
from lensbench.shot import Shot

AROUND_PX = 32
"""How far to each side an edge's bright and dark are looked for: the widest blur fits in."""

LEAST_DEPTH = 0.4
"""How much darker than bright dark must be, as a share of bright."""

LEAST_WHITE = 0.02
"""Bright sides with less of full scale are too dark to read."""

NOISY = 8.0
"""Steps of fewer standard deviations of a block's light are noise."""

LEAST_NOISE = 1e-3
"""Noise of a sample, in shares of full scale, assumed at least: drawings and 8-bit files have none."""

CORNER = 0.75
"""A line that leaves its chord by more blocks turns a corner there."""

SHORTEST_PX = 40.0
"""Shorter parts are not reported (our own choice)."""

LONGEST = 1 / 12
"""Length of the longest part in half-diagonals of the frame; longer ones are divided."""

LONGEST_AT_LEAST_PX = 140.0
"""Parts shorter than this are never divided."""

MOST_BENT = 0.012
"""Curvature (sagitta over length) of a part at most: no lens's distortion makes more, a coin does (own choice)."""

RAGGED_PX, RAGGED = 0.25, 0.2
"""Scatter of a line, in pixels and as a share of its blur, above which it is ragged (own choice)."""

REACH_PX = 160.0
"""How far to each side evenness is looked into."""

UNEVEN = 0.06
"""Share of the contrast by which light may vary on an even side (own choice)."""

LEAST_REACH, LEAST_REACH_PX = 7.0, 9.0
"""Both sides must be even over so many blur widths, and so many pixels."""

MARGIN = 4.5
"""Blur widths by which neighbouring parts of one line overlap: edges are measured so far from their ends."""


@dataclass(frozen=True)
class RefusedLine:
    """A line that looks like an edge and can't serve as one: its middle, its length in pixels, and why.

    `even_px` is how far the side named by the reason is even, where it is for too few pixels.
    """

    x: float
    y: float
    length_px: float
    reason: Reason
    even_px: int | None = None


@dataclass(frozen=True, eq=False)
class StraightEdges:
    """Clean straight edges found in a shot, from the top left on.

    Attributes
    ----------
    ends_px : ndarray, shape (n, 2, 2)
        Both ends (x, y) of each, to ±1 px.
    towards_bright : ndarray, shape (n, 2)
        Unit vector across each.
    reach_px : ndarray, shape (n, 2)
        How far the dark and the bright side stay even.
    refused : tuple of RefusedLine
        What looked like an edge at first.
    """

    ends_px: NDArray[np.float64]
    towards_bright: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    refused: tuple[RefusedLine, ...]

    def __len__(self) -> int:
        return len(self.ends_px)


class _Picture(NamedTuple):
    """A smaller picture in shares of full scale, with the darkest and the brightest around each block.

    `noise` gives the standard deviation of a block with so much light.
    """

    light: NDArray[np.float32]
    dark: NDArray[np.float32]
    bright: NDArray[np.float32]
    noise: Callable[[NDArray | float], NDArray]
    block: int
    offset: NDArray[np.float64]

    def at(self, places: NDArray) -> NDArray[np.float64]:
        """The light at places (x, y) in blocks, straight between them."""
        x, y = np.moveaxis(places, -1, 0)
        return map_coordinates(self.light, (y, x), np.float64, order=1, mode="nearest")


class _Part(NamedTuple):
    """A part of a line in blocks: middle, direction, length, sagitta (`curvature`), scatter about it."""

    middle: NDArray
    along: NDArray
    length: float
    curvature: float
    scatter: float

    @property
    def normal(self) -> NDArray:
        return np.array([-self.along[1], self.along[0]])


class _CleanPart(NamedTuple):
    """A part that will do, in pixels of the shot: its ends, the way to bright, how far both sides are even."""

    ends_px: NDArray
    towards_bright: NDArray
    reach_px: NDArray


def find_straight_edges(shot: Shot) -> StraightEdges:
    """Find every clean straight edge of a shot in its reference channel.

    Parameters
    ----------
    shot : Shot
        Any shot.

    Returns
    -------
    StraightEdges
        None of them, with the reasons in `refused`, where the shot has no clean edge.
    """
    picture = _picture(shot)
    longest = max(LONGEST * half_diagonal(shot.size), LONGEST_AT_LEAST_PX) / picture.block
    judged = [_judged(picture, part, line) for line in _lines(picture) for part in _parts(line, longest)]
    kept = sorted((one for one in judged if isinstance(one, _CleanPart)), key=_reading_order)
    refused = tuple(one for one in judged if isinstance(one, RefusedLine))
    return StraightEdges(
        ends_px=np.array([one.ends_px for one in kept], float).reshape(-1, 2, 2),
        towards_bright=np.array([one.towards_bright for one in kept], float).reshape(-1, 2),
        reach_px=np.array([one.reach_px for one in kept], float).reshape(-1, 2),
        refused=refused,
    )


def _reading_order(edge: _CleanPart) -> tuple[float, float]:
    """By lines of a hundred pixels from the top, in these from the left."""
    x, y = edge.ends_px.mean(axis=0)
    return round(y, -2), x


def _picture(shot: Shot) -> _Picture:
    block = reduction_block(shot)
    light, offset = reduce_reference(shot, block)
    full = shot.full_scale(shot.reference)
    light = light / np.float32(full)
    around = 2 * round(AROUND_PX / block) + 1
    noise = estimate_noise(shot, shot.reference) or Noise(0.0, 0.0, 0.0)
    samples = (
        block**2 if shot.pattern is None else np.isin(shot.pattern, shot.indices(shot.reference)).mean() * block**2
    )
    return _Picture(
        light,
        minimum_filter(light, around),
        maximum_filter(light, around),
        lambda light: np.maximum(noise.sigma(light * full) / full, LEAST_NOISE) / np.sqrt(samples),
        block,
        offset,
    )


# -- lines ----------------------------------------------------------------------------------------------------


def _lines(picture: _Picture) -> Iterator[NDArray[np.float64]]:
    """Straight or gently bent stretches, points (x, y) in blocks in order, bright at the same hand all along."""
    dark, bright = picture.dark, picture.bright
    clear = bright - dark > np.maximum(LEAST_DEPTH * bright, NOISY * picture.noise(bright))
    clear &= bright > LEAST_WHITE
    if not clear.any():
        return
    shortest = SHORTEST_PX / picture.block
    for contour in find_contours(picture.light - (dark + bright) / 2, 0.0, mask=clear):
        if len(contour) < shortest:
            continue
        line = _begun_at_a_corner(contour[:, ::-1])
        corner = np.flatnonzero(np.isin(line @ [1, 1j], approximate_polygon(line, CORNER) @ [1, 1j]))
        for begin, end in pairwise(corner):
            if np.hypot(*(line[end] - line[begin])) >= shortest:
                yield line[begin : end + 1]


def _begun_at_a_corner(line: NDArray) -> NDArray:
    """A closed line begun where it is farthest out, so that no straight side is cut in two; others as they are."""
    if not np.array_equal(line[0], line[-1]):
        return line
    open_line = line[:-1]
    first = int(np.argmax(np.hypot(*(open_line - open_line.mean(axis=0)).T)))
    turned = np.roll(open_line, -first, axis=0)
    return np.concatenate([turned, turned[:1]])


def _parts(line: NDArray, longest: float) -> Iterator[_Part]:
    """A line's equal parts, none longer than `longest`."""
    way = (line[-1] - line[0]) / np.hypot(*(line[-1] - line[0]))
    t = (line - line[0]) @ way
    length = t[-1]
    count = int(np.ceil(length / longest))
    for k in range(count):
        inside = (t >= length * k / count) & (t <= length * (k + 1) / count)
        if inside.sum() >= 8:
            yield _fitted(line[inside])


def _fitted(points: NDArray) -> _Part:
    """The line through points, by least squares across it; the ends, often rounded, count less."""
    middle = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    along = axes[0] * np.sign(axes[0] @ (points[-1] - points[0]))
    t, u = (points - middle) @ along, (points - middle) @ np.array([-along[1], along[0]])
    half = max((t.max() - t.min()) / 2, 1e-9)
    s = (t - (t.max() + t.min()) / 2) / half
    inner = np.abs(s) < 0.9
    shape = np.polynomial.polynomial.polyfit(s[inner], u[inner], 2)
    rest = u[inner] - np.polynomial.polynomial.polyval(s[inner], shape)
    tilt = shape[1] / half
    normal = np.array([-along[1], along[0]])
    centre = middle + along * (t.max() + t.min()) / 2 + normal * (shape[0] + shape[2] / 2)
    turned = (along + tilt * normal) / np.hypot(1, tilt)
    return _Part(centre, turned, 2 * half, float(shape[2]), robust_sigma(rest, about=0.0))


# -- judging --------------------------------------------------------------------------------------------------


def _judged(picture: _Picture, part: _Part, line: NDArray) -> _CleanPart | RefusedLine:
    """A part in the shot's pixels, or why it won't do."""
    block = picture.block
    u, level = _sections(picture, part)
    if level[len(u) // 2 :].mean() < level[: len(u) // 2].mean():
        part = part._replace(along=-part.along, curvature=-part.curvature)
        u, level = _sections(picture, part)
    noise = float(picture.noise(level.max()))
    blur, clear = _blur_and_reach(u, level, noise, AROUND_PX / picture.block)
    reason = _reason_against(part, blur, clear, noise, float(np.ptp(level)), block)
    if reason:
        x, y = part.middle * block + picture.offset
        even = round(float(clear.min() * block)) if reason in (Reason.DARK_SIDE, Reason.BRIGHT_SIDE) else None
        return RefusedLine(float(x), float(y), float(part.length * block), reason, even)
    # Where the line goes on beyond the part, the margin that edges keep from their ends lies there.
    line_ends = (line[[0, -1]] - part.middle) @ part.along
    low, high = np.clip((line_ends.min(), line_ends.max()), *(part.length / 2 + MARGIN * blur) * np.array([-1, 1]))
    ends = part.middle + np.outer((min(low, -part.length / 2), max(high, part.length / 2)), part.along)
    return _CleanPart(ends * block + picture.offset, part.normal, clear * block)


SECTIONS = 8
"""Sections along a part that must all be even: a speck may fill less than half of one."""


def _sections(picture: _Picture, part: _Part) -> tuple[NDArray, NDArray]:
    """Distances across a part, in blocks, and the light there in each of its sections, shape (u, sections)."""
    step = max(2 / picture.block, 0.5)
    side = np.arange(step / 2, REACH_PX / picture.block, step)
    u = np.concatenate([-side[::-1], side])
    count = SECTIONS * int(np.clip(part.length / SECTIONS, 2, 12))
    s = (np.arange(count) + 0.5) / count * 2 - 1
    across = u[:, None] + part.curvature * (s**2 - 0.5)
    places = part.middle + s[:, None] * part.along * part.length / 2 + across[..., None] * part.normal
    return u, np.median(picture.at(places).reshape(len(u), SECTIONS, -1), axis=2)


def _blur_and_reach(u: NDArray, level: NDArray, noise: float, around: float) -> tuple[float, NDArray]:
    """Blur width, and how far the dark and the bright side stay even, in blocks."""
    profile = np.median(level, axis=1)
    near = np.abs(u) <= around
    dark, bright = profile[near & (u < 0)].min(), profile[near & (u > 0)].max()
    contrast = max(bright - dark, 1e-9)
    share = np.clip((profile[near] - dark) / contrast, 0, 1)
    # ∫E(1 - E) is the blur width over √π in a Gaussian edge; a block's own width adds its variance.
    spread = (share * (1 - share)).sum() * (u[1] - u[0])
    blur = float(np.sqrt(max(np.pi * spread**2 - 1 / 12, 0.0)))
    room = UNEVEN * contrast + 3 * noise
    sides = (level[u < 0][::-1], dark), (level[u > 0], bright)
    even = [np.abs(side - plateau).max(axis=1) < room for side, plateau in sides]
    return blur, np.array([_even_as_far_as(side) for side in even]) * (u[1] - u[0])


def _even_as_far_as(even: NDArray[np.bool_]) -> int:
    """How many steps out the first even stretch ends, 0 without any."""
    if not even.any():
        return 0
    first = int(np.argmax(even))
    broken = np.flatnonzero(~even[first:])
    return first + int(broken[0]) if len(broken) else len(even)


def _reason_against(part: _Part, blur: float, clear: NDArray, noise: float, contrast: float, block: int) -> Reason:
    """Why a part is not measured; `Reason.NONE` where it is."""
    needed = max(LEAST_REACH * blur, LEAST_REACH_PX / block)
    unsure = noise / max(contrast, 1e-9) * max(blur, 0.5) * 3
    if part.scatter * block > max(RAGGED_PX, RAGGED * blur * block) + unsure * block:
        return Reason.RAGGED
    if abs(part.curvature) > MOST_BENT * part.length + 0.1:
        return Reason.BENT
    if clear.min() < needed:
        return (Reason.DARK_SIDE, Reason.BRIGHT_SIDE)[int(clear.argmin())]
    return Reason.NONE
