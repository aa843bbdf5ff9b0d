"""Candidates for round marks: peaks of matched filters at all levels of the pyramid."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._pyramid import Level, cells_in
from lensbench.analysers.numerics.strips import STRIP_ROWS, each_strip

BORDER = 3
"""Cells around a strip that the filters and the search for maxima need."""


class Peaks(NamedTuple):
    """Local maxima of the response of matched filters.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        In pixels.
    signal : ndarray, shape (n,)
        Signal to noise, positive where darker.
    sigma : ndarray, shape (n,)
        The filter's standard deviation in pixels.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    signal: NDArray[np.float64]
    sigma: NDArray[np.float64]

    def chosen(self, which: NDArray) -> Peaks:
        """The peaks of an index or mask."""
        return Peaks(*(column[which] for column in self))

    @property
    def centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Positions, x and y."""
        return self.x, self.y

    @staticmethod
    def concatenated(parts: Sequence[Peaks]) -> Peaks:
        """The peaks of several parts, in this order."""
        return Peaks(*(np.concatenate(column) for column in zip(*parts, strict=True)))


NO_PEAKS = Peaks(*np.empty((4, 0)))


def find_peaks(levels: list[Level], threshold: float, box: Box | None = None) -> Peaks:
    """Peaks of all filters beyond a threshold, at all levels.

    Parameters
    ----------
    levels : list of Level
        The levels to filter.
    threshold : float
        Least signal to noise.
    box : Box, optional
        Where to search; the whole frame unless given.

    Returns
    -------
    Peaks
    """
    return Peaks.concatenated([_peaks(level, threshold, box) for level in levels])


def _peaks(level: Level, threshold: float, box: Box | None) -> Peaks:
    """Peaks of a level's two binomial filters, of standard deviations 0.71 and 1 cell."""
    parts = []
    rows, columns = cells_in(level, box)

    def strip(top: int) -> None:
        z = _with_border(level.z, slice(top, min(top + STRIP_ROWS, rows.stop)), columns)
        narrow = _binomial(z)
        wide = _binomial(narrow)
        # The root of the sum of squared weights is the noise of the response.
        for response, noise, sigma, border in ((narrow, 6, np.sqrt(0.5), 2), (wide, 70, 1.0, 1)):
            row, column = _maxima(response, threshold * noise, border)
            signal = response[row, column] / noise
            parts.append((row - border + top, column - border + columns.start, signal, np.full(len(row), sigma)))

    each_strip(strip, range(rows.start, rows.stop, STRIP_ROWS))
    row, column, signal, sigma = (np.concatenate(part) for part in zip(*parts, strict=True))
    cell = level.cell_px
    return Peaks(column * cell + level.offset, row * cell + level.offset, signal.astype(float), sigma * cell)


def _with_border(z: NDArray[np.float32], rows: slice, columns: slice) -> NDArray[np.float32]:
    """A part of z with `BORDER` more cells on each side, zeros beyond the frame."""
    top, left = max(rows.start - BORDER, 0), max(columns.start - BORDER, 0)
    bottom, right = min(rows.stop + BORDER, z.shape[0]), min(columns.stop + BORDER, z.shape[1])
    missing = (
        (BORDER - (rows.start - top), BORDER - (bottom - rows.stop)),
        (BORDER - (columns.start - left), BORDER - (right - columns.stop)),
    )
    part = z[top:bottom, left:right]
    return np.pad(part, missing) if np.any(missing) else part


def _binomial(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """Sums with weights 1, 2, 1 along both axes, without the outermost cells."""
    for _ in range(2):
        z = z[1:] + z[:-1]
    for _ in range(2):
        z = z[:, 1:] + z[:, :-1]
    return z


def _maxima(response: NDArray[np.float32], threshold: float, border: int) -> tuple[NDArray, NDArray]:
    """Rows and columns of local maxima beyond the threshold, dark or bright, border excluded."""
    inner = response[border:-border, border:-border]
    if -threshold <= inner.min() and inner.max() <= threshold:
        return np.empty(0, np.intp), np.empty(0, np.intp)
    rows, columns = np.divmod(np.flatnonzero(np.abs(inner) > threshold), inner.shape[1])
    rows, columns = rows + border, columns + border
    own = response[rows, columns]
    peak = np.ones(len(rows), bool)
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            peak &= response[rows + down, columns + across] * np.sign(own) <= np.abs(own)
    return rows[peak], columns[peak]
