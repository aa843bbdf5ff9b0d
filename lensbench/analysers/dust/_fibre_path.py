"""Fibres followed along their bends, from a straight segment on."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._line_sums import Segments
from lensbench.analysers.dust._pyramid import Level

BENDS = 21
"""Arcs tried at each step, from a sharp bend left to one right."""

KINKS_DEG = (-8.0, 0.0, 8.0)
"""Changes of direction tried at the start of each arc."""

SHARPEST_DEG = {8: 70.0, 16: 50.0, 32: 35.0}
"""How far an arc of so many cells turns at most."""

GOES_ON = 2.6
"""A step of less signal to noise than this is likelier noise; two in a row end the fibre."""

PLAIN_STEP = 4.5
"""Signal to noise of a step that needs no longer one."""

LIKELY = 6.2
"""Signal to noise that a segment must reach, by itself or with the next steps, to be followed."""

MOST_STEPS = 400


class Trail(NamedTuple):
    """Where a fibre may run: path in pixels, signal to noise (raised by the choices made), 1 for dark."""

    path: NDArray[np.float64]
    signal: float
    sign: float


def least_distance(places: NDArray, path: NDArray) -> NDArray[np.float64]:
    """Distance of each place to the nearest point of a path."""
    across = places[:, None, 0] - path[None, :, 0]
    down = places[:, None, 1] - path[None, :, 1]
    return np.sqrt((across * across + down * down).min(axis=1, initial=np.inf))


def likely(level: Level, segments: Segments) -> NDArray[np.bool_]:
    """Which segments of a level are strong by themselves, or together with one more step either way."""
    keep = np.zeros(len(segments.x0), bool)
    starts, ends, lengths = _in_cells(level, segments)
    sign = np.sign(segments.signal)
    for step in SHARPEST_DEG:
        own = np.flatnonzero(_steps(lengths) == step)
        if not len(own):
            continue
        first, last = _inner_ends(starts[own], ends[own])
        way = np.arctan2(*(last - first).T[::-1])
        ahead = _best_arcs(level.z, last, way, step, sign[own])[0]
        behind = _best_arcs(level.z, first, way + np.pi, step, sign[own])[0]
        total, cells = np.abs(segments.signal[own]) * np.sqrt(lengths[own]), lengths[own].copy()
        best = np.abs(segments.signal[own])
        # A quarter of each step still lies on the segment itself.
        for more in (np.maximum(ahead, behind), np.minimum(ahead, behind)):
            total, cells = total + 0.75 * more * np.sqrt(step), cells + 0.75 * step
            best = np.maximum(best, total / np.sqrt(cells))
        keep[own] = best > LIKELY
    return keep


def follow(level: Level, segments: Segments, number: int) -> Trail:
    """Follow a fibre both ways from one of the segments, on the level on which it was found."""
    starts, ends, lengths = _in_cells(level, segments.chosen([number]))
    sign = np.sign(segments.signal[number])
    step = int(_steps(lengths)[0])
    # Where the signal is strong, short steps keep closer to the bends.
    mean = abs(segments.signal[number]) / np.sqrt(lengths[0])
    step = next((short for short in SHARPEST_DEG if short <= step and mean * np.sqrt(short) > PLAIN_STEP), step)
    first, last = (v[0] for v in _inner_ends(starts, ends))
    forward = _go(level.z, last, last - first, step, sign)
    backward = _go(level.z, first, first - last, step, sign)
    count = max(int(lengths[0] / 2), 2)
    middle = first + np.linspace(0, 1, count)[:, None] * (last - first)
    path = np.concatenate([backward[::-1], middle, forward])
    values = sign * _nearest(level.z, path[:, 0], path[:, 1])
    signal = float(values.sum() / np.sqrt(len(values)))
    return Trail(path * level.cell_px + level.offset, signal, float(sign))


def _in_cells(level: Level, segments: Segments) -> tuple[NDArray, NDArray, NDArray]:
    """Starts, ends and lengths of segments in cells of a level."""
    starts = (np.stack([segments.x0, segments.y0], axis=1) - level.offset) / level.cell_px
    ends = (np.stack([segments.x1, segments.y1], axis=1) - level.offset) / level.cell_px
    return starts, ends, np.abs(ends - starts).max(axis=1) + 1


def _steps(lengths: NDArray) -> NDArray[np.int64]:
    """How many cells to go at a time from segments of these lengths."""
    return np.where(lengths < 24, 8, np.where(lengths < 48, 16, 32))


def _inner_ends(starts: NDArray, ends: NDArray) -> tuple[NDArray, NDArray]:
    """Places a quarter of the way within segments: their own ends may hang in the air."""
    return starts + 0.25 * (ends - starts), ends - 0.25 * (ends - starts)


@functools.cache
def _headings(step: int) -> NDArray[np.float64]:
    """Directions along the arcs that are tried, against the direction so far, shape (arcs, step)."""
    kinks, turns = np.meshgrid(np.radians(KINKS_DEG), np.radians(SHARPEST_DEG[step]) * np.linspace(-1, 1, BENDS))
    return kinks.ravel()[:, None] + turns.ravel()[:, None] * (np.arange(step) + 0.5) / step


@functools.cache
def _arcs(step: int) -> NDArray[np.complex128]:
    """The arcs that are tried, from the place and direction so far, shape (arcs, step)."""
    return np.cumsum(np.exp(1j * _headings(step)), axis=1)


def _best_arcs(
    z: NDArray[np.float32], places: NDArray, angles: NDArray, step: int, signs: NDArray
) -> tuple[NDArray, NDArray, NDArray]:
    """From each place and direction the arc of most signal: its signal to noise, its points, its number."""
    points = (places[:, 0] + 1j * places[:, 1])[:, None, None] + np.exp(1j * angles)[:, None, None] * _arcs(step)
    signals = signs[:, None] * _nearest(z, points.real, points.imag).sum(axis=-1) / np.sqrt(step)
    best = signals.argmax(axis=1)
    each = np.arange(len(best))
    return signals[each, best], points[each, best], best


def _nearest(z: NDArray[np.float32], x: NDArray, y: NDArray) -> NDArray[np.float32]:
    """The cells nearest to places; 0 outside."""
    column, row = np.rint(x).astype(int), np.rint(y).astype(int)
    inside = (column >= 0) & (column < z.shape[1]) & (row >= 0) & (row < z.shape[0])
    return np.where(inside, z[np.where(inside, row, 0), np.where(inside, column, 0)], 0)


def _go(z: NDArray[np.float32], place: NDArray, way: NDArray, step: int, sign: float) -> NDArray[np.float64]:
    """Points along the best arcs from a place on, until the signal ends."""
    angle = np.arctan2(way[1], way[0])
    walked, weak = [np.empty((0, 2))], 0
    for _ in range(MOST_STEPS):
        signal, points, best = _best_arcs(z, place[None], np.array([angle]), step, np.array([sign]))
        weak = weak + 1 if signal[0] < GOES_ON else 0
        walked.append(np.stack([points[0].real, points[0].imag], axis=1))
        place, angle = walked[-1][-1], angle + _headings(step)[best[0], -1]
        outside = (place < 0).any() or place[0] >= z.shape[1] or place[1] >= z.shape[0]
        if weak == 2 or outside or _comes_back(walked):
            break
    return np.concatenate(walked[: len(walked) - weak])


def _comes_back(walked: list[NDArray]) -> bool:
    """Whether the last step runs into one walked before."""
    if len(walked) < 5:
        return False
    before = np.concatenate(walked[1:-3])
    return bool(np.hypot(*(before - walked[-1][-1]).T).min() < 2.0)
