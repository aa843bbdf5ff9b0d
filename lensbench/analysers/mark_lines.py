"""Where fibres may be: sums along straight segments of every direction, on the grey picture."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import THREADS
from lensbench.analysers.mark_grids import Box, Level, cells_in

LENGTHS = (16, 32, 64)
"""Lengths of the segments in cells."""

SCALE, HIGHEST = 8, 60
"""Steps to a unit of noise, and the most that a cell counts: 16 bits hold the sums, and add up twice as fast."""

STRIPS_AT_ONCE = 8

NEIGHBOURS = sorted(
    ((i, j) for i in range(-2, 3) for j in range(-2, 3) if i or j), key=lambda v: abs(v[0]) + abs(v[1])
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
    jobs = [(level, turned, flipped) for level in levels for turned in (False, True) for flipped in (False, True)]
    # Threads are worth their while for whole frames only.
    with ThreadPoolExecutor(THREADS) if box is None else nullcontext() as pool:
        found = list((pool.map if pool else map)(lambda job: _one_way(*job, threshold, box), jobs))
    return Segments(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _one_way(level: Level, turned: bool, flipped: bool, threshold: float, box: Box | None) -> Segments:
    """Segments that lean by up to 45° to one side of the columns (of the rows, where `turned`)."""
    rows, columns = cells_in(level, box)
    z = np.rint(np.clip(level.z[rows, columns], -HIGHEST, HIGHEST) * SCALE).astype(np.int16)
    z = np.ascontiguousarray(z.T) if turned else z
    z = z[:, ::-1] if flipped else z
    longest = LENGTHS[-1]
    parts = []
    step = STRIPS_AT_ONCE * longest
    for top in range(0, len(z), step):
        part = z[top : top + step]
        padded = np.zeros((-(-len(part) // longest) * longest, z.shape[1] + longest), np.int16)
        padded[: len(part), : z.shape[1]] = part
        parts += [(x, y + top, lean, length, s) for x, y, lean, length, s in _strips(padded, threshold)]
    x, y, lean, length, signal = (np.concatenate(column) for column in zip(*parts, strict=True))
    x0, x1 = x, x + lean
    if flipped:
        x0, x1 = z.shape[1] - 1 - x0, z.shape[1] - 1 - x1
    y0, y1 = y, y + length - 1
    ends = (y0, x0, y1, x1) if turned else (x0, y0, x1, y1)
    starts = (columns.start, rows.start) * 2
    scaled = ((end + start) * float(level.cell_px) + level.offset for end, start in zip(ends, starts, strict=True))
    return Segments(*scaled, signal.astype(float), np.full(len(x), float(level.cell_px)))


def _strips(z: NDArray[np.int16], threshold: float) -> list[tuple[NDArray, ...]]:
    """Peaks of the sums over strips of each length: column and row of the start, lean, length, signal to noise."""
    found = []
    # sums[strip, lean, column]: the sum from (column, top of the strip) to (column + lean, its bottom).
    sums = z[:, None, :]
    while sums.shape[1] < LENGTHS[-1]:
        above, below = sums[0::2], sums[1::2]
        leans = sums.shape[1]
        sums = np.zeros((len(above), 2 * leans, z.shape[1]), np.int16)
        for lean in range(leans):
            for more in (0, 1):
                shift = lean + more
                np.add(
                    above[:, lean, : z.shape[1] - shift],
                    below[:, lean, shift:],
                    out=sums[:, 2 * lean + more, : z.shape[1] - shift],
                )
        length = sums.shape[1]
        if length in LENGTHS:
            found.append(_strip_peaks(sums, length, threshold))
    return found


def _strip_peaks(sums: NDArray[np.int16], length: int, threshold: float) -> tuple[NDArray, ...]:
    """Sums past the threshold that no neighbour surpasses."""
    limit = int(threshold * np.sqrt(length) * SCALE)
    at = np.flatnonzero(np.abs(sums) > limit)
    for tilt, move in NEIGHBOURS:
        strips, leans, columns = np.unravel_index(at, sums.shape)
        own = sums[strips, leans, columns]
        lean = np.clip(leans + tilt, 0, sums.shape[1] - 1)
        column = np.clip(columns + move, 0, sums.shape[2] - 1)
        near = sums[strips, lean, column]
        # Most places fall at the first few neighbours; the rest is checked for few.
        at = at[np.where(own > 0, near <= own, near >= own)]
    strips, leans, columns = np.unravel_index(at, sums.shape)
    signal = sums[strips, leans, columns] / (SCALE * np.sqrt(length))
    return columns, strips * length, leans, np.full(len(at), length), signal
