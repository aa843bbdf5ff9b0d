"""A polygon on a grid, smoothed just enough that the grid's spectrum is that of the polygon.

The mean over a cell would let frequencies beyond the grid's own leak in (they are folded back on sampling). A
cubic B-spline instead, four cells wide, keeps them out: at f cycles a cell the leak is (f / (1 - f))⁵.

By Green's theorem the sum over the area is one along the outline. Sides are cut where they cross the spline's
knots; in each piece the integrand is a polynomial, which three Gauss points sum to a millionth. Each puts the
change from one cell to the next of its rows in place, and a running sum along the rows makes areas of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import BSpline

_NODES, _SHARES = np.polynomial.legendre.leggauss(3)


def _spline_weights(order: int) -> NDArray[np.float64]:
    """Powers of t to the weights of the cells around a position t behind a knot; shape (order + 1, order + 1)."""
    t = np.arange(order + 1) / order
    places = np.arange(order, -1, -1)[:, None] + t
    values = BSpline.basis_element(np.arange(order + 2))(places)
    return np.linalg.solve(np.vander(t, increasing=True), values.T).T


_CUBIC, _QUARTIC = _spline_weights(3), _spline_weights(4)


def smoothed_polygon(vertices: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.float32]:
    """A polygon, smoothed by the cubic B-spline of unit cells each way, at the centres of a grid's cells.

    Parameters
    ----------
    vertices : ndarray, shape (n, 2)
        Corners (x, y) in cells, the cell [row, column] reaching from (column, row) to (column + 1, row + 1).
        Either way round; may reach beyond the grid.
    shape : (int, int)
        Rows and columns of the grid.

    Returns
    -------
    ndarray of float32, shape (rows, columns)
        0 to 1.
    """
    rows, columns = shape
    # Cells' centres at whole numbers, where the splines have their knots.
    centred = vertices - 0.5
    start, end = _pieces(centred, np.roll(centred, -1, axis=0))
    start, end = start[:, None], end[:, None]
    x, y = np.moveaxis((start + end) / 2 + (end - start) / 2 * _NODES[:, None], -1, 0).reshape(2, -1)
    height = ((end - start)[..., 1] / 2 * _SHARES).ravel()
    near = (y > -3) & (y < rows + 2) & (x < columns + 3)
    x, y, height = x[near], y[near], height[near]
    # Points far to the left change the first cell of a row and nothing else.
    x = np.maximum(x, -4.0)
    first_x, first_y = np.floor(x), np.floor(y)
    across = _QUARTIC @ _powers(x - first_x, 4) * height
    down = _CUBIC @ _powers(y - first_y, 3)
    # Three rows above and below, and the columns to the right of the grid, take what falls beside it.
    column = np.maximum(first_x.astype(np.int64) + np.arange(-1, 4)[:, None], 0)
    row = first_y.astype(np.int64) + np.arange(2, 6)[:, None] + 1
    wide = columns + 6
    cell = (row * wide)[:, None] + column
    steps = np.bincount(cell.ravel(), (down[:, None] * across).ravel(), (rows + 8) * wide)
    kept = steps.reshape(rows + 8, wide)[4 : rows + 4, :columns]
    area = np.cumsum(kept, axis=1, dtype=np.float32)
    return area if _twice_area(vertices) < 0 else -area


def _powers(t: NDArray, highest: int) -> NDArray[np.float64]:
    return np.vander(t, highest + 1, increasing=True).T


def smoothing(frequency: ArrayLike) -> NDArray[np.float64]:
    """The response of `smoothed_polygon` along one axis, frequency in cycles a cell."""
    response: NDArray[np.float64] = np.sinc(np.asarray(frequency, np.float64)) ** 4
    return response


def _twice_area(vertices: NDArray[np.float64]) -> float:
    x, y = vertices.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _pieces(start: NDArray[np.float64], end: NDArray[np.float64]) -> tuple[NDArray, NDArray]:
    """Cut sides where they cross whole numbers in x or y; starts and ends of the pieces, shape (pieces, 2)."""
    count = len(start)
    parts, sides = [np.zeros(count), np.ones(count)], [np.arange(count), np.arange(count)]
    for axis in (0, 1):
        low = np.minimum(start[:, axis], end[:, axis])
        high = np.maximum(start[:, axis], end[:, axis])
        first = np.floor(low) + 1
        crossings = np.maximum(np.ceil(high) - first, 0).astype(np.int64)
        side = np.repeat(np.arange(count), crossings)
        number = np.arange(crossings.sum()) - np.repeat(np.cumsum(crossings) - crossings, crossings)
        line = first[side] + number
        parts.append((line - start[side, axis]) / (end[side, axis] - start[side, axis]))
        sides.append(side)
    part, side = np.concatenate(parts), np.concatenate(sides)
    order = np.lexsort((part, side))
    part, side = part[order], side[order]
    place = start[side] + (end - start)[side] * part[:, None]
    same = side[1:] == side[:-1]
    return place[:-1][same], place[1:][same]
