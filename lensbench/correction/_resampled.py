"""Planes resampled by a warp, or anywhere, through splines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, spline_filter

from lensbench.correction._warp import Warp

SPLINE_DEGREE = 5
"""tests/bench/correction.py says what sharpness each degree costs."""

_ROWS = 64
"""Rows resampled at once."""

_CELL = 16
"""Pixels between the places for which a warp is worked out: it is straight enough between, to some 0.002 px
where a picture bends by a twentieth."""


@dataclass(frozen=True, eq=False)
class Spline:
    """A plane as a spline's coefficients.

    Attributes
    ----------
    coefficients : ndarray of float32, shape (height, width)
    degree : int
    """

    coefficients: NDArray[np.float32]
    degree: int

    @classmethod
    def through(cls, plane: NDArray[np.float32], degree: int = SPLINE_DEGREE) -> Spline:
        """The smooth spline through a plane's samples."""
        return cls(spline_filter(plane, order=degree, output=np.float32, mode="mirror"), degree)

    @classmethod
    def linear(cls, plane: NDArray[np.float32]) -> Spline:
        """Straight lines between samples: for planes too smooth to need more."""
        return cls(plane, 1)

    def at(self, x: NDArray, y: NDArray, out: NDArray[np.float32] | None = None) -> NDArray[np.float32]:
        """Values at places in pixels; beyond the border those mirrored in it."""
        output = np.empty(np.shape(x), np.float32) if out is None else out
        map_coordinates(
            self.coefficients, (y, x), order=self.degree, prefilter=False, mode="mirror", output=output
        )
        return output


Places = tuple[NDArray, NDArray]


def resampled(spline: Spline, warp: Warp, colour: str) -> NDArray[np.float32]:
    """One colour's plane as a warp reads it."""
    if not warp.needed and spline.degree == 1:
        return spline.coefficients
    height, width = spline.coefficients.shape
    result = np.empty((height, width), np.float32)
    for top in range(0, height, _ROWS):
        rows = np.arange(top, min(top + _ROWS, height))
        x, y = mapped(partial(warp.read_at, colour), np.arange(width), rows)
        spline.at(x, y, out=result[rows[0] : rows[-1] + 1])
    return result


def mapped(places: Callable[[NDArray, NDArray], Places], columns: NDArray, rows: NDArray) -> Places:
    """Where a smooth map takes every crossing of columns and rows: worked out at some, and straight between.

    Parameters
    ----------
    places : callable
        From x and y to x and y, in pixels.
    columns, rows : ndarray
        Whole pixels, in even steps.
    """
    nodes = [np.arange(line[0], line[-1] + _CELL + 1, _CELL, dtype=float) for line in (columns, rows)]
    across, down = ((line - line[0]) / _CELL for line in (columns, rows))
    x, y = places(*np.meshgrid(*nodes))
    return _between(x, down, across), _between(y, down, across)


def _between(nodes: NDArray, down: NDArray, across: NDArray) -> NDArray[np.float64]:
    """Values on straight lines between nodes, at places counted in nodes."""
    row, column = down.astype(int), across.astype(int)
    lines = nodes[row] + (nodes[row + 1] - nodes[row]) * (down - row)[:, None]
    return lines[:, column] + (lines[:, column + 1] - lines[:, column]) * (across - column)
