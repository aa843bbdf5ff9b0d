"""Lines along which a picture is half-way between brightest and darkest around, cut into straight parts."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from skimage.measure import approximate_polygon, find_contours

from lensbench.analysers.free_edges._picture import Picture
from lensbench.robust import robust_sigma

LEAST_DEPTH = 0.4
"""How much darker than bright dark must be, as a share of bright."""

LEAST_WHITE = 0.02
"""Bright sides with less of full scale are too dark to read."""

NOISY = 8.0
"""Steps of fewer standard deviations of a block's light are noise."""

CORNER = 0.75
"""A line that leaves its chord by more blocks turns a corner there."""

SHORTEST_PX = 40.0
"""Shorter parts are not reported (our own choice)."""


class Part(NamedTuple):
    """A part of a line in blocks: middle, direction, length, sagitta (`curvature`), scatter about it."""

    middle: NDArray
    along: NDArray
    length: float
    curvature: float
    scatter: float

    @property
    def normal(self) -> NDArray:
        return np.array([-self.along[1], self.along[0]])


def lines_of(picture: Picture) -> Iterator[NDArray[np.float64]]:
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


def parts_of(line: NDArray, longest: float) -> Iterator[Part]:
    """A line's equal parts, none longer than `longest`."""
    way = (line[-1] - line[0]) / np.hypot(*(line[-1] - line[0]))
    t = (line - line[0]) @ way
    length = t[-1]
    count = int(np.ceil(length / longest))
    for k in range(count):
        inside = (t >= length * k / count) & (t <= length * (k + 1) / count)
        if inside.sum() >= 8:
            yield _fitted(line[inside])


def _fitted(points: NDArray) -> Part:
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
    return Part(centre, turned, 2 * half, float(shape[2]), robust_sigma(rest, about=0.0))
