"""Where fibres may be: sums along straight segments of every direction, on the grey picture."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from lensbench.analysers.dust._pyramid import Box, Level, cells_in
from lensbench.analysers.numerics.strips import THREADS

LENGTHS = (16, 32, 64)
"""Lengths of the segments in cells."""

SCALE, HIGHEST = 8, 60
"""Steps to a unit of noise, and the most that a cell counts: 16 bits hold the sums, and add up twice as fast."""

AT_ONCE = 2**18
"""Cells worked on at a time, so that the sums stay in the processor's cache."""

NEIGHBOURS = np.array(
    sorted(((i, j) for i in range(-2, 3) for j in range(-2, 3) if i or j), key=lambda v: abs(v[0]) + abs(v[1]))
)
"""Sums to compare each with, by lean and column, the nearest first."""


class Segments(NamedTuple):
    """Straight segments along which the picture is darker (or brighter) than noise explains.

    Ends in pixels, signal to noise (darker positive), and the cell of the grid on which they were found in pixels;
    each of shape (n,).
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
        """Places from end to end of each segment, x and y of shape (count, n)."""
        shares = np.linspace(0, 1, count)[:, None]
        return self.x0 + shares * (self.x1 - self.x0), self.y0 + shares * (self.y1 - self.y0)

    @property
    def middles(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The middle of each, x and y."""
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2


def find_segments(levels: list[Level], threshold: float, box: Box | None = None) -> Segments:
    """Segments past a threshold of signal to noise, on each grid, in all directions.

    Parameters
    ----------
    levels : list of Level
        The grids to look on: a fibre stands out most where it is about a cell wide.
    threshold : float
        Least signal to noise.
    box : Box
        Where to look; the whole frame unless given.

    References
    ----------
    M. L. Brady, A fast discrete approximation algorithm for the Radon transform, SIAM Journal on Computing 27
    (1998) 107-119: sums along all segments of a strip from those along half as long ones.
    """
    jobs = [(level, turned) for level in levels for turned in (False, True)]
    # Threads are worth their while for whole frames only.
    with ThreadPoolExecutor(THREADS) if box is None else nullcontext() as pool:
        found = list((pool.map if pool else map)(lambda job: _both_leans(*job, threshold, box), jobs))
    return Segments(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _both_leans(level: Level, turned: bool, threshold: float, box: Box | None) -> Segments:
    """Segments that lean by up to 45° to either side of the columns (of the rows, where `turned`)."""
    rows, columns = cells_in(level, box)
    z = level.z[rows, columns].T if turned else level.z[rows, columns]
    longest, width = LENGTHS[-1], z.shape[1]
    step = max(AT_ONCE // (longest * (width + longest)), 1) * longest
    parts = []
    for top in range(0, len(z), step):
        part = z[top : top + step]
        steps = np.rint(np.clip(part, -HIGHEST, HIGHEST) * SCALE).astype(np.int16)
        # Nothing lies below the frame, nor beside it.
        padded = np.zeros((-(-len(part) // longest) * longest, width + longest), np.int16)
        padded[: len(part), :width] = steps
        for x, y, lean, length, signal in _strips(padded, threshold):
            parts.append((x, y + top, x + lean, y + top + length - 1, signal))
        padded[: len(part), :width] = steps[:, ::-1]
        for x, y, lean, length, signal in _strips(padded, threshold):
            parts.append((width - 1 - x, y + top, width - 1 - x - lean, y + top + length - 1, signal))
    *ends, signal = (np.concatenate(column) for column in zip(*parts, strict=True))
    if turned:
        ends = [ends[i] for i in (1, 0, 3, 2)]
    starts = (columns.start, rows.start) * 2
    scaled = ((end + start) * float(level.cell_px) + level.offset for end, start in zip(ends, starts, strict=True))
    return _in_full(level, Segments(*scaled, signal.astype(float), np.full(len(signal), float(level.cell_px))))


def _in_full(level: Level, segments: Segments) -> Segments:
    """Segments with the signal that they have when their cells count in full, where those count for much."""
    extent = np.maximum(np.abs(segments.x1 - segments.x0), np.abs(segments.y1 - segments.y0))
    root = np.sqrt(extent / level.cell_px + 1)
    strong = np.flatnonzero(np.abs(segments.signal) > HIGHEST / 2 * root)
    x, y = (np.rint((v - level.offset) / level.cell_px).astype(int) for v in segments.chosen(strong).points(33))
    signal = segments.signal.copy()
    signal[strong] = level.z[y, x].mean(axis=0) * root[strong]
    return segments._replace(signal=signal)


def _strips(z: NDArray[np.int16], threshold: float) -> list[tuple[NDArray, ...]]:
    """Peaks of the sums over strips of each length: column and row of the start, lean, length, signal to noise."""
    found = []
    # sums[strip, lean, column]: the sum from (column, top of the strip) to (column + lean, its bottom).
    sums = z[:, None, :]
    while sums.shape[1] < LENGTHS[-1]:
        sums = _twice_as_long(sums)
        if sums.shape[1] in LENGTHS:
            found.append(_strip_peaks(sums, sums.shape[1], threshold))
    return found


def _twice_as_long(sums: NDArray[np.int16]) -> NDArray[np.int16]:
    """The sums over two strips at a time: the lower one goes on where the upper one ends, or a column further."""
    above, below = sums[0::2], sums[1::2]
    strips, leans, columns = above.shape
    # What starts further to the right holds nothing of the frame.
    width = columns - leans
    across = sums.strides[-1]
    longer = np.empty((strips, leans, 2, columns), np.int16)
    longer[..., width:] = 0
    for more in (0, 1):
        # [strip, lean, column] of what `sheared` sees is [strip, lean, column + lean + more] of the lower strip.
        strides = (below.strides[0], below.strides[1] + across, across)
        sheared = as_strided(below[:, :, more:], (strips, leans, width), strides, writeable=False)
        np.add(above[:, :, :width], sheared, out=longer[:, :, more, :width])
    return longer.reshape(strips, 2 * leans, columns)


def _strip_peaks(sums: NDArray[np.int16], length: int, threshold: float) -> tuple[NDArray, ...]:
    """Sums past the threshold that no neighbour surpasses."""
    limit = int(threshold * np.sqrt(length) * SCALE)
    strips, leans, columns = np.unravel_index(np.flatnonzero(np.abs(sums) > limit), sums.shape)
    # Most places fall at the nearest neighbours; the rest is checked for few.
    for neighbours in (NEIGHBOURS[:4], NEIGHBOURS[4:]) if len(strips) else ():
        own = sums[strips, leans, columns][:, None]
        lean = np.clip(leans[:, None] + neighbours[:, 0], 0, sums.shape[1] - 1)
        column = np.clip(columns[:, None] + neighbours[:, 1], 0, sums.shape[2] - 1)
        near = sums[strips[:, None], lean, column]
        keep = np.where(own > 0, near <= own, near >= own).all(axis=1)
        strips, leans, columns = strips[keep], leans[keep], columns[keep]
    signal = sums[strips, leans, columns] / (SCALE * np.sqrt(length))
    return columns, strips * length, leans, np.full(len(strips), length), signal
