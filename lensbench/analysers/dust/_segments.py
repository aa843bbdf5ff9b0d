"""Candidates for fibres: straight segments of all directions, by a fast discrete Radon transform."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._pyramid import Level, cells_in, nearest_cells
from lensbench.analysers.numerics.strips import THREADS

LENGTHS = (16, 32, 64)
"""Lengths of the segments in cells."""

SCALE, HIGHEST = 8, 60
"""Steps per unit of noise, and the largest value of a cell: sums then fit into 16 bits, which add twice as
fast."""

AT_ONCE = 2**18
"""Cells processed at a time, so that the sums stay in the processor's cache (chosen by experience)."""

NEIGHBOURS = np.array(
    sorted(((i, j) for i in range(-2, 3) for j in range(-2, 3) if i or j), key=lambda v: abs(v[0]) + abs(v[1]))
)
"""Offsets in slope and column of the sums that each is compared with, the nearest first."""


class Segments(NamedTuple):
    """Straight segments along which the residual is darker (or brighter) than noise explains.

    Attributes
    ----------
    x0, y0, x1, y1 : ndarray, shape (n,)
        Ends in pixels.
    signal : ndarray, shape (n,)
        Signal to noise, positive where darker.
    cell : ndarray, shape (n,)
        Cell size of the level on which each was found, in pixels.
    """

    x0: NDArray[np.float64]
    y0: NDArray[np.float64]
    x1: NDArray[np.float64]
    y1: NDArray[np.float64]
    signal: NDArray[np.float64]
    cell: NDArray[np.float64]

    def chosen(self, which: NDArray) -> Segments:
        """The segments of an index or mask."""
        return Segments(*(column[which] for column in self))

    def points(self, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Points from end to end of each segment, x and y of shape (count, n)."""
        shares = np.linspace(0, 1, count)[:, None]
        return self.x0 + shares * (self.x1 - self.x0), self.y0 + shares * (self.y1 - self.y0)

    @property
    def centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The centre of each, x and y."""
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    @staticmethod
    def concatenated(parts: Sequence[Segments]) -> Segments:
        """The segments of several parts, in this order."""
        return Segments(*(np.concatenate(column) for column in zip(*parts, strict=True)))


NO_SEGMENTS = Segments(*np.empty((6, 0)))


def find_segments(levels: list[Level], threshold: float, box: Box | None = None) -> Segments:
    """Segments beyond a threshold of signal to noise, on each level, in all directions.

    Parameters
    ----------
    levels : list of Level
        The levels to search: the signal to noise of a fibre is highest where it is about a cell wide.
    threshold : float
        Least signal to noise.
    box : Box, optional
        Where to search; the whole frame unless given.

    Returns
    -------
    Segments

    References
    ----------
    M. L. Brady, A fast discrete approximation algorithm for the Radon transform, SIAM Journal on Computing 27
    (1998) 107-119: sums along all segments of a strip from those along half as long ones.
    """
    jobs = [(level, turned) for level in levels for turned in (False, True)]

    def search(job: tuple[Level, bool]) -> Segments:
        level, turned = job
        return _both_slopes(level, turned, threshold, box)

    if box is not None:
        return Segments.concatenated([search(job) for job in jobs])
    # Threads save time for whole frames only.
    with ThreadPoolExecutor(THREADS) as pool:
        return Segments.concatenated(list(pool.map(search, jobs)))


def _both_slopes(level: Level, turned: bool, threshold: float, box: Box | None) -> Segments:
    """Segments within 45° of the columns (of the rows, where `turned`)."""
    rows, columns = cells_in(level, box)
    z = level.z[rows, columns].T if turned else level.z[rows, columns]
    longest, width = LENGTHS[-1], z.shape[1]
    step = max(AT_ONCE // (longest * (width + longest)), 1) * longest
    parts = []
    for top in range(0, len(z), step):
        part = z[top : top + step] * np.float32(SCALE)
        np.clip(part, -HIGHEST * SCALE, HIGHEST * SCALE, out=part)
        steps = np.rint(part, out=part).astype(np.int16)
        # Zeros below the frame and beside it.
        padded = np.zeros((-(-len(part) // longest) * longest, width + longest), np.int16)
        padded[: len(part), :width] = steps
        for x, y, slope, length, signal in _strips(padded, threshold):
            parts.append((x, y + top, x + slope, y + top + length - 1, signal))
        padded[: len(part), :width] = steps[:, ::-1]
        for x, y, slope, length, signal in _strips(padded, threshold):
            parts.append((width - 1 - x, y + top, width - 1 - x - slope, y + top + length - 1, signal))
    *ends, signal = (np.concatenate(column) for column in zip(*parts, strict=True))
    if turned:
        ends = [ends[i] for i in (1, 0, 3, 2)]
    starts = (columns.start, rows.start) * 2
    scaled = ((end + start) * float(level.cell_px) + level.offset for end, start in zip(ends, starts, strict=True))
    x0, y0, x1, y1 = scaled
    cell = np.full(len(signal), float(level.cell_px))
    return _unclipped(level, Segments(x0, y0, x1, y1, signal.astype(float), cell))


def _unclipped(level: Level, segments: Segments) -> Segments:
    """Segments with their signal recomputed from unclipped cells where some may have been clipped at `HIGHEST`."""
    extent = np.maximum(np.abs(segments.x1 - segments.x0), np.abs(segments.y1 - segments.y0))
    root = np.sqrt(extent / level.cell_px + 1)
    strong = np.flatnonzero(np.abs(segments.signal) > HIGHEST / 2 * root)
    x, y = ((v - level.offset) / level.cell_px for v in segments.chosen(strong).points(33))
    signal = segments.signal.copy()
    signal[strong] = nearest_cells(level.z, x, y).mean(axis=0) * root[strong]
    return segments._replace(signal=signal)


def _strips(z: NDArray[np.int16], threshold: float) -> list[tuple[NDArray, ...]]:
    """Peaks of the sums over strips of each length: start column and row, slope, length, signal to noise."""
    found = []
    # sums[strip, slope, column]: the sum from (column, top of the strip) to (column + slope, its bottom).
    sums = z[:, None, :]
    while sums.shape[1] < LENGTHS[-1]:
        sums = _twice_as_long(sums)
        if sums.shape[1] in LENGTHS:
            found.append(_strip_peaks(sums, sums.shape[1], threshold))
    return found


def _twice_as_long(sums: NDArray[np.int16]) -> NDArray[np.int16]:
    """The sums over pairs of strips: the lower half begins where the upper one ends, or a column further."""
    above = sums[0::2]
    strips, slopes, columns = above.shape
    # Segments that start further to the right hold nothing of the frame.
    width = columns - slopes
    longer = np.empty((strips, slopes, 2, columns), np.int16)
    longer[..., width:] = 0
    for more in (0, 1):
        np.add(above[:, :, :width], _sheared_below(sums, more, width), out=longer[:, :, more, :width])
    return longer.reshape(strips, 2 * slopes, columns)


def _sheared_below(sums: NDArray[np.int16], more: int, width: int) -> NDArray[np.int16]:
    """The lower strips of pairs: element [pair, slope, column] of column + slope + `more`; `sums` contiguous."""
    strip, slope, column = sums.strides
    shape = (len(sums) // 2, sums.shape[1], width)
    # A view, as `as_strided` gives, which itself takes half as long as the additions.
    return np.ndarray(shape, sums.dtype, sums, strip + more * column, (2 * strip, slope + column, column))


def _strip_peaks(sums: NDArray[np.int16], length: int, threshold: float) -> tuple[NDArray, ...]:
    """Local maxima of the sums beyond the threshold."""
    limit = int(threshold * np.sqrt(length) * SCALE)
    if -limit <= sums.min() and sums.max() <= limit:
        # So it is nearly everywhere: two numbers take less time than where they are.
        return (*np.zeros((4, 0), np.int64), np.empty(0))
    strips, slopes, columns = np.unravel_index(np.flatnonzero(np.abs(sums) > limit), sums.shape)
    # The nearest neighbours exclude most; the others are compared for few.
    for neighbours in (NEIGHBOURS[:4], NEIGHBOURS[4:]) if len(strips) else ():
        own = sums[strips, slopes, columns][:, None]
        slope = np.clip(slopes[:, None] + neighbours[:, 0], 0, sums.shape[1] - 1)
        column = np.clip(columns[:, None] + neighbours[:, 1], 0, sums.shape[2] - 1)
        near = sums[strips[:, None], slope, column]
        keep = np.where(own > 0, near <= own, near >= own).all(axis=1)
        strips, slopes, columns = strips[keep], slopes[keep], columns[keep]
    signal = sums[strips, slopes, columns] / (SCALE * np.sqrt(length))
    return columns, strips * length, slopes, np.full(len(strips), length), signal
