"""The light of an even flat as a smooth surface: block means of the raw samples, and splines through them.

The shared core of falloff and dirt: falloff is this surface, dirt is what departs from it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot, Sublattice

BLOCK_PX = 32
"""About how wide a block is; rounded to a whole number of the mosaic's repeats."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """Means of one channel's light over a grid of blocks.

    Attributes
    ----------
    x, y : ndarray, shapes (across,) and (down,)
        The blocks' centres in pixels.
    light : ndarray, shape (down, across)
        Mean light above black, in stored units.
    samples : ndarray of int, shape (down, across)
        How many samples each mean holds.
    clipped : ndarray, shape (down, across)
        The share of them that is clipped.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    light: NDArray[np.float64]
    samples: NDArray[np.int64]
    clipped: NDArray[np.float64]


def block_means(shot: Shot, channel: str, block: int = BLOCK_PX) -> Blocks:
    """Average a channel over blocks, on strided views of the samples, without copies.

    Parameters
    ----------
    shot : Shot
        The flat.
    channel : str
        One of `shot.channels`.
    block : int
        About how wide a block is, in pixels.
    """
    return _average(shot, shot.sublattices(channel), block)


def index_block_means(shot: Shot, index: int, block: int = BLOCK_PX) -> Blocks:
    """Average one colour index (such as one of two greens) over blocks; else as `block_means`."""
    parts = (part for part in shot.sublattices(shot.colours[index]) if part.index == index)
    return _average(shot, parts, block)


def _average(shot: Shot, parts: Iterable[Sublattice], block: int) -> Blocks:
    width, height = shot.size
    across = _starts(width, _repeats(shot, 1, block))
    down = _starts(height, _repeats(shot, 0, block))
    shape = len(down), len(across)
    light, clipped, count = np.zeros(shape), np.zeros(shape), np.zeros(shape, np.int64)
    for samples, first, step, index in parts:
        columns = -((first[0] - across) // step[0])
        rows = np.append(-((first[1] - down) // step[1]), len(samples))
        widths = np.diff(np.append(columns, samples.shape[1]))
        for j in range(len(down)):
            band = samples[rows[j] : rows[j + 1]]
            number = widths * len(band)
            light[j] += (np.add.reduceat(_column_sums(band), columns) - number * shot.black[index]) * shot.gain[
                index
            ]
            count[j] += number
            if band.max() >= shot.white:
                clipped[j] += np.add.reduceat(np.count_nonzero(band >= shot.white, axis=0), columns)
    return Blocks(_middles(across, width), _middles(down, height), light / count, count, clipped / count)


def _repeats(shot: Shot, axis: int, block: int) -> int:
    """The block's size along an axis, as a whole number of the mosaic's repeats."""
    period = 1 if shot.pattern is None else shot.pattern.shape[axis]
    return period * max(round(block / period), 1)


def _starts(length: int, block: int) -> NDArray[np.int64]:
    """Where each block begins; a rest of less than half a block joins the last one."""
    return np.arange(max(round(length / block), 1)) * block


def _middles(starts: NDArray[np.int64], length: int) -> NDArray[np.float64]:
    return (starts + np.append(starts[1:], length) - 1) / 2


def _column_sums(band: NDArray) -> NDArray[np.float64]:
    exact = np.uint32 if band.dtype == np.uint16 else np.float64
    return np.add.reduce(band, axis=0, dtype=exact).astype(np.float64)


# -- splines --------------------------------------------------------------------------------------------------


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
        How often the values are judged anew.

    Returns
    -------
    surface : Surface
    trust : ndarray, shape (y, x)
        1 for values like their neighbours, down to 0 for those left out.
    """
    trust = np.ones_like(values)
    for _ in range(rounds):
        surface = fit_surface(values, weights * trust, x, y, size, splines)
        off = np.where(weights > 0, values - surface.on_grid(x, y), 0.0)
        off -= local_median(off)
        spread = max(1.4826 * float(np.median(np.abs(off[weights > 0]))), least)
        trust = np.clip(1 - (off / (6 * spread)) ** 2, 0, 1) ** 2
    return surface, trust


def local_median(values: NDArray, reach: int = 2) -> NDArray:
    """The median of each value's neighbourhood, `reach` to every side, of a small grid."""
    padded = np.pad(values, reach, mode="symmetric")
    windows = np.lib.stride_tricks.sliding_window_view(padded, (2 * reach + 1, 2 * reach + 1))
    return np.median(windows.reshape(*values.shape, -1), axis=-1)


# -- round light ----------------------------------------------------------------------------------------------

RADIAL_SPLINES = (10, 6, 5)
"""Splines along the radius of the even part, the part that goes once around, and the part that goes twice."""

POWERS = 4
"""Highest power of x and y together in what the light panel may add."""


def round_basis(x: NDArray, y: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """Functions that are free along the radius and stiff around it, over a grid.

    A lens's light is nearly round; a wide smear is not, and so stays out of what these functions can follow.

    Returns
    -------
    ndarray, shape (len(y) * len(x), functions)
    """
    half = np.hypot(*size) / 2
    u = np.tile((np.asarray(x) - (size[0] - 1) / 2) / half, len(y))
    v = np.repeat((np.asarray(y) - (size[1] - 1) / 2) / half, len(x))
    r = np.hypot(u, v)
    functions = []
    for splines, waves in zip(RADIAL_SPLINES, ([1.0], [u, v], [u * u - v * v, 2 * u * v]), strict=True):
        radial = _spline_columns(r**2, splines)
        functions += [radial * np.reshape(wave, (-1, 1)) for wave in waves]
    powers = [(i, j) for i in range(POWERS + 1) for j in range(POWERS + 1 - i)]
    functions.append(np.stack([u**i * v**j for i, j in powers], axis=1))
    return np.concatenate(functions, axis=1)


def _spline_columns(fraction: NDArray, splines: int) -> NDArray[np.float64]:
    """Uniform cubic B-splines of values from 0 to 1, shape (values, splines)."""
    piece, parts = _spline_parts(np.clip(fraction, 0, 1) - 0.5, 1, splines - 3)
    basis = np.zeros((len(piece), splines))
    np.put_along_axis(basis, piece[:, None] + np.arange(4), parts, axis=1)
    return basis


def fit_round(values: NDArray, trust: NDArray, basis: NDArray) -> NDArray[np.float64]:
    """Fit round light to values on a grid by weighted least squares.

    Parameters
    ----------
    values : ndarray, shape (down, across)
        Logarithms of the light, or any small departures.
    trust : ndarray, shape (down, across)
        Their weights, 0 or more.
    basis : ndarray
        From `round_basis` for the same grid.

    Returns
    -------
    ndarray, shape (down, across)
        The fitted light.
    """
    weighed = basis * trust.reshape(-1, 1)
    normal = weighed.T @ basis
    normal += 1e-9 * np.trace(normal) / len(normal) * np.eye(len(normal))
    return (basis @ np.linalg.solve(normal, weighed.T @ values.ravel())).reshape(values.shape)


def trust_round(values: NDArray, readable: NDArray[np.bool_], basis: NDArray, least: float) -> NDArray[np.float64]:
    """Find out which values belong to round light, and which to marks that stand out from it, however wide.

    Least absolute deviations find the light, Tukey's biweight then leaves out ever more of the marks' skirts.

    Parameters
    ----------
    values : ndarray, shape (down, across)
        Logarithms of the light.
    readable : ndarray of bool, shape (down, across)
        Which of them count.
    basis : ndarray
        From `round_basis` for the same grid.
    least : float
        The least scatter of the values that counts as such.

    Returns
    -------
    ndarray, shape (down, across)
        From 0 for what was left out to 1.
    """
    trust = readable.astype(np.float64)
    for turn in range(16):
        off = np.abs(values - fit_round(values, trust, basis))
        spread = max(1.4826 * float(np.median(off[readable])), least)
        if turn < 6:
            trust = readable / np.maximum(off / spread, 1.0)
            continue
        newer = readable * np.clip(1 - (off / (3.5 * spread)) ** 2, 0, 1) ** 2
        settled = np.abs(newer - trust).max() < 0.05
        trust = newer
        if settled:
            break
    return trust


def smooth_through(
    values: NDArray, x: NDArray, y: NDArray, size: tuple[int, int], splines: tuple[int, int]
) -> Surface:
    """The surface of splines nearest to smooth values on a grid."""
    rows, columns = spline_basis(y, size[1], splines[0]), spline_basis(x, size[0], splines[1])
    return Surface(size, np.linalg.pinv(rows) @ values @ np.linalg.pinv(columns).T)
