"""Smooth surfaces over the frame: tensor products of cubic B-splines, and how they are fitted."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Surface:
    """A smooth surface over the frame: a tensor product of cubic B-splines.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    coefficients : ndarray, shape (splines down, splines across)
        One weight for each product of two splines.
    """

    size: tuple[int, int]
    coefficients: NDArray[np.float64]

    def on_grid(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The surface at all pairs of x and y, shape (y, x)."""
        down, across = self.coefficients.shape
        return spline_basis(y, self.size[1], down) @ self.coefficients @ spline_basis(x, self.size[0], across).T

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The surface at single places, shape of x and y."""
        down, across = self.coefficients.shape
        row, rows = _spline_parts(y, self.size[1], down - 3)
        column, columns = _spline_parts(x, self.size[0], across - 3)
        four = np.arange(4)
        near = self.coefficients[row[:, None, None] + four[:, None], column[:, None, None] + four]
        return np.einsum("kj,kji,ki->k", rows, near, columns)


def spline_basis(places: NDArray, length: int, splines: int) -> NDArray[np.float64]:
    """Uniform cubic B-splines at places from 0 to `length`, shape (places, splines)."""
    piece, parts = _spline_parts(places, length, splines - 3)
    basis = np.zeros((len(piece), splines))
    np.put_along_axis(basis, piece[:, None] + np.arange(4), parts, axis=1)
    return basis


def _spline_parts(places: NDArray, length: int, pieces: int) -> tuple[NDArray, NDArray]:
    """The first of the four splines that reach each place, and the values of the four, shape (places, 4)."""
    t = (np.asarray(places, float) + 0.5) / length * pieces
    piece = np.clip(np.floor(t).astype(int), 0, pieces - 1)
    u = t - piece
    parts = [(1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, -3 * u**3 + 3 * u**2 + 3 * u + 1, u**3]
    return piece, np.stack(parts, axis=-1) / 6


def fit_surface(
    values: NDArray,
    weights: NDArray,
    x: NDArray,
    y: NDArray,
    size: tuple[int, int],
    splines: tuple[int, int] = (9, 11),
    stiffness: float = 1e-3,
) -> Surface:
    """Fit a smooth surface to values on a grid by weighted least squares with a bending penalty.

    Parameters
    ----------
    values, weights : ndarray, shape (y, x)
        What to fit and how much each value counts; values of no weight may be anything finite.
    x, y : ndarray
        The grid's places in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    splines : (int, int)
        Number of B-splines down and across, 4 or more.
    stiffness : float
        Weight of the squared third differences of the coefficients, against the mean weight of the values for
        one coefficient. Carries the surface over gaps along a parabola.

    References
    ----------
    P. H. C. Eilers, I. D. Currie, M. Durbán, Fast and compact smoothing on large multidimensional grids,
    Computational Statistics & Data Analysis 50 (2006) 61-76.
    """
    down, across = splines
    rows, columns = spline_basis(y, size[1], down), spline_basis(x, size[0], across)
    # Products of pairs of splines turn the normal equations into two small matrix products.
    pairs_down = (rows[:, :, None] * rows[:, None, :]).reshape(len(y), -1)
    pairs_across = (columns[:, :, None] * columns[:, None, :]).reshape(len(x), -1)
    normal = (pairs_down.T @ weights @ pairs_across).reshape(down, down, across, across)
    normal = normal.transpose(0, 2, 1, 3).reshape(down * across, down * across)
    bend_down, bend_across = _bending(down), _bending(across)
    bending = np.kron(bend_down, np.eye(across)) + np.kron(np.eye(down), bend_across)
    scale = stiffness * max(weights.sum(), np.finfo(float).tiny) / (down * across)
    right = rows.T @ (weights * values) @ columns
    steady = 1e-9 * scale * np.eye(down * across)
    return Surface(size, np.linalg.solve(normal + scale * bending + steady, right.ravel()).reshape(splines))


def _bending(splines: int) -> NDArray[np.float64]:
    third = np.diff(np.eye(splines), n=3, axis=0)
    return third.T @ third


def fit_clean_surface(
    values: NDArray,
    weights: NDArray,
    x: NDArray,
    y: NDArray,
    size: tuple[int, int],
    least: float,
    splines: tuple[int, int] = (15, 21),
    rounds: int = 3,
) -> tuple[Surface, NDArray]:
    """Fit a smooth surface that single odd values (dirt, hot pixels) do not pull.

    A value is odd when it stands out from its neighbours, so that a slope too steep for the splines, such as
    the end of the image circle, is not taken for dirt.

    Parameters
    ----------
    values, weights, x, y, size, splines
        As in `fit_surface`.
    least : float
        The least scatter of the values that counts as such, in their unit.
    rounds : int
        How often the values are judged anew: first against a surface of few splines, which can't follow them.

    Returns
    -------
    surface : Surface
    trust : ndarray, shape (y, x)
        1 for values like their neighbours, down to 0 for those left out.
    """
    trust = np.ones_like(values)
    for turn in range(rounds + 1):
        few = splines if turn == rounds else (splines[0] // 2, splines[1] // 2)
        surface = fit_surface(values, weights * trust, x, y, size, few)
        if turn == rounds:
            break
        off = np.where(weights > 0, values - surface.on_grid(x, y), 0.0)
        off -= local_median(off)
        spread = max(1.4826 * float(np.median(np.abs(off[weights > 0]))), least)
        trust = np.clip(1 - (off / (6 * spread)) ** 2, 0, 1) ** 2
    return surface, trust


def local_median(values: NDArray, reach: int = 3) -> NDArray:
    """The median of each value's neighbourhood, `reach` to every side, on a grid; slopes go on at its rim.

    Values on the rim itself do not count: nothing beyond them would tell whether they are like their neighbours.
    """
    inner = values[1:-1, 1:-1] if min(values.shape) > 2 else values
    rim = reach + (values.shape[0] - inner.shape[0]) // 2
    padded = np.pad(inner, rim, mode="reflect", reflect_type="odd")
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * reach + 1, 2 * reach + 1))
    return np.median(windows.reshape(*values.shape, -1), axis=-1)


def nodes(size: tuple[int, int], splines: tuple[int, int]) -> tuple[NDArray, NDArray]:
    """Places x and y, up to the frame's borders, on which a smooth function fixes a surface of so many splines."""
    return _nodes(size[0], splines[1]), _nodes(size[1], splines[0])


def smooth_through(values: NDArray, size: tuple[int, int], splines: tuple[int, int]) -> Surface:
    """The surface of splines (down and across) nearest to smooth values on its `nodes`, shape (y, x)."""
    return Surface(size, _from_nodes(size[1], splines[0]) @ values @ _from_nodes(size[0], splines[1]).T)


@functools.cache
def _from_nodes(length: int, splines: int) -> NDArray[np.float64]:
    """What takes values on the nodes along one axis to splines, shape (splines, nodes)."""
    return np.linalg.pinv(spline_basis(_nodes(length, splines), length, splines))


def _nodes(length: int, splines: int) -> NDArray[np.float64]:
    return np.linspace(0, length - 1, 3 * splines)
