"""Fibres traced along their curves from a straight segment."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._paths import PARALLEL, once
from lensbench.analysers.dust._pyramid import Level, nearest_cells
from lensbench.analysers.dust._segments import Segments

CURVATURES = 21
"""Arcs tried at each step, from the sharpest to the left to the sharpest to the right."""

KINKS_DEG = (-8.0, 0.0, 8.0)
"""Changes of direction tried at the start of each arc."""

SHARPEST_DEG = {8: 70.0, 16: 50.0, 32: 35.0}
"""Largest turn of an arc, for arcs of so many cells."""

LEAST_STEP_SIGNAL = 2.6
"""Signal to noise of a step at least: two in a row below it end the fibre (chosen by experience)."""

SHORT_STEP_SIGNAL = 4.5
"""Signal to noise of a step from which no longer one is needed (chosen by experience)."""

PROMISING_SIGNAL = 6.2
"""Signal to noise that a segment must reach, by itself or with the next steps, to be traced (chosen by
experience)."""

DEEPEST, DEEPEST_NOISE = 1.5, 2.0
"""A cell counts for up to so many times the fibre's own depth, and noise besides: a deeper fibre that crosses must
not draw the path (chosen by experience)."""

STRAIGHT = 0.15
"""Share of the fibre's depth that a straight step may lack to the sharpest arc: where fibres cross, both are dark
(chosen by experience)."""

LATELY = 0.3
"""Weight of a step in the running mean of a fibre's depth."""

MOST_STEPS = 400
"""Steps of a path at most, each way."""


class Trace(NamedTuple):
    """A traced line: path in pixels, signal to noise (biased upward by the choices made), sign (1 is dark)."""

    path: NDArray[np.float64]
    signal: float
    sign: float


def are_promising(level: Level, segments: Segments) -> NDArray[np.bool_]:
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
        ahead = _highest_signals(level.z, last, way, step, sign[own])
        behind = _highest_signals(level.z, first, way + np.pi, step, sign[own])
        total, cells = np.abs(segments.signal[own]) * np.sqrt(lengths[own]), lengths[own].copy()
        best = np.abs(segments.signal[own])
        # A quarter of each step overlaps with the segment itself.
        for more in (np.maximum(ahead, behind), np.minimum(ahead, behind)):
            total, cells = total + 0.75 * more * np.sqrt(step), cells + 0.75 * step
            best = np.maximum(best, total / np.sqrt(cells))
        keep[own] = best > PROMISING_SIGNAL
    return keep


def trace_from(level: Level, segments: Segments, number: int) -> Trace:
    """Trace a line both ways from one of the segments, on the level on which it was found."""
    starts, ends, lengths = _in_cells(level, segments.chosen(np.array([number])))
    sign = np.sign(segments.signal[number])
    step = int(_steps(lengths)[0])
    # Where the signal is strong, short steps follow curves more closely.
    mean = abs(segments.signal[number]) / np.sqrt(lengths[0])
    step = next(
        (short for short in SHARPEST_DEG if short <= step and mean * np.sqrt(short) > SHORT_STEP_SIGNAL), step
    )
    first, last = (v[0] for v in _inner_ends(starts, ends))
    forward = _walk(level.z, last, last - first, step, sign, mean)
    backward = _walk(level.z, first, first - last, step, sign, mean)
    count = max(int(lengths[0] / 2), 2)
    centre = first + np.linspace(0, 1, count)[:, None] * (last - first)
    path = once(np.concatenate([backward[::-1], centre, forward]))
    values = sign * nearest_cells(level.z, path[:, 0], path[:, 1])
    signal = float(values.sum() / np.sqrt(len(values)))
    return Trace(path * level.cell_px + level.offset, signal, float(sign))


def _in_cells(level: Level, segments: Segments) -> tuple[NDArray, NDArray, NDArray]:
    """Starts, ends and lengths of segments in cells of a level."""
    starts = (np.stack([segments.x0, segments.y0], axis=1) - level.offset) / level.cell_px
    ends = (np.stack([segments.x1, segments.y1], axis=1) - level.offset) / level.cell_px
    return starts, ends, np.abs(ends - starts).max(axis=1) + 1


def _steps(lengths: NDArray) -> NDArray[np.int64]:
    """Cells to a step from segments of these lengths."""
    return np.where(lengths < 24, 8, np.where(lengths < 48, 16, 32))


def _inner_ends(starts: NDArray, ends: NDArray) -> tuple[NDArray, NDArray]:
    """Points a quarter of the way within segments: their own ends may lie beyond the fibre."""
    return starts + 0.25 * (ends - starts), ends - 0.25 * (ends - starts)


@functools.cache
def _headings(step: int) -> NDArray[np.float64]:
    """Directions along the arcs that are tried, relative to the direction so far, shape (arcs, step)."""
    kinks, turns = np.meshgrid(
        np.radians(KINKS_DEG), np.radians(SHARPEST_DEG[step]) * np.linspace(-1, 1, CURVATURES)
    )
    return kinks.ravel()[:, None] + turns.ravel()[:, None] * (np.arange(step) + 0.5) / step


@functools.cache
def _arcs(step: int) -> NDArray[np.complex128]:
    """The arcs that are tried, relative to the position and direction so far, as x + iy, shape (arcs, step)."""
    return np.cumsum(np.exp(1j * _headings(step)), axis=1)


@functools.cache
def _turns(step: int) -> NDArray[np.float64]:
    """How far each of the arcs turns, in units of the sharpest, shape (arcs,)."""
    turns = _headings(step)[:, -1] - _headings(step)[:, 0]
    return turns / np.abs(turns).max()


def _arc_values(z: NDArray[np.float32], positions: NDArray, angles: NDArray, step: int) -> tuple[NDArray, NDArray]:
    """Points of the arcs from each position and direction, as x + iy, and the cells there: (n, arcs, step)."""
    starts, ways = positions[:, 0] + 1j * positions[:, 1], np.exp(1j * angles)
    points = starts[:, None, None] + ways[:, None, None] * _arcs(step)
    return points, nearest_cells(z, points.real, points.imag)


def _highest_signals(
    z: NDArray[np.float32], positions: NDArray, angles: NDArray, step: int, signs: NDArray
) -> NDArray[np.float64]:
    """Signal to noise of the arc of most signal from each position and direction."""
    values = _arc_values(z, positions, angles, step)[1].sum(axis=-1)
    return (signs[:, None] * values).max(axis=1) / np.sqrt(step)


def _walk(
    z: NDArray[np.float32], position: NDArray, way: NDArray, step: int, sign: float, depth: float
) -> NDArray[np.float64]:
    """Points along the best arcs from a position, until the signal ends; `depth` is about that of a cell."""
    angle = np.arctan2(way[1], way[0])
    walked, weak = [np.empty((0, 2))], 0
    for _ in range(MOST_STEPS):
        points, values = (part[0] for part in _arc_values(z, position[None], np.array([angle]), step))
        values = sign * values
        own = np.minimum(values, DEEPEST * depth + DEEPEST_NOISE).mean(axis=1)
        best = int(np.argmax(own - STRAIGHT * depth * _turns(step) ** 2))
        weak = weak + 1 if values[best].sum() < LEAST_STEP_SIGNAL * np.sqrt(step) else 0
        walked.append(np.stack([points[best].real, points[best].imag], axis=1))
        position, angle = walked[-1][-1], angle + _headings(step)[best, -1]
        outside = (position < 0).any() or position[0] >= z.shape[1] or position[1] >= z.shape[0]
        if weak == 2 or outside or _closes(walked):
            break
        if not weak:
            depth += LATELY * (float(own[best]) - depth)
    return np.concatenate(walked[: len(walked) - weak])


def _closes(walked: list[NDArray]) -> bool:
    """Whether the last step runs along an earlier one; it may cross it."""
    if len(walked) < 5:
        return False
    before = np.concatenate(walked[1:-3])
    away = np.hypot(*(before - walked[-1][-1]).T)
    nearest = int(np.clip(np.argmin(away), 1, len(before) - 2))
    own, other = walked[-1][-1] - walked[-1][-3], before[nearest + 1] - before[nearest - 1]
    return bool(away.min() < 2.0 and abs(own @ other) > PARALLEL * np.hypot(*own) * np.hypot(*other))
