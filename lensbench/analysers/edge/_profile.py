"""The smooth profile of an edge: a spline on knots that widen outwards, its exact transform, its smoothness.

A profile is E(z) = Σ c_j B_j(v(z)), z the distance from the edge in pixels. B_j are cubic B-splines on whole
numbers of v, and v(z) = (2/h) z / (1 + √(1 + (z/b)²)): knots stand h apart at the edge, spread as |z| beyond
b, and z = ±∞ is v = ±V. A profile linear in 1/z far out falls off as the light of every pupil with a rim does, so
the plateaus are those at infinity and no window cuts the tails.

The knots are the same for every edge, close enough for whatever passes a pixel's aperture, rings of an unsharp
pupil and the sharp core of a wide glow alike. How smooth the profile is between them is another matter, which each
edge's own samples decide (`roughness`).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import exp1, ndtr

from lensbench.analysers.edge import _bin_loops as loops

SPACING = 0.4
"""h: distance of the knots at the edge, in pixels, of which an aperture is one wide."""

CELLS = 36
"""V: cells of the spline on each side."""

STRETCH = SPACING * CELLS / 2
"""b: distance, in pixels, from which the knots spread."""

COEFFICIENTS = 2 * CELLS + 3

FINE = 6
"""Bins that a cell is divided into."""

BINS = 2 * CELLS * FINE

GRID = SPACING, STRETCH, float(CELLS), float(FINE)
"""What compiled loops need to know of the bins."""

Q = np.linspace(0, 1, 257) ** 2
"""Frequencies of the transform, cycles a pixel; even in √q, so fine where wide tails show."""


def to_cell(z: NDArray) -> NDArray:
    """v(z) + V: the place in cells, 0 to 2 V."""
    return loops.to_cell(z, GRID)


def to_distance(cell: NDArray) -> NDArray:
    """The z of a place in cells (inside 0 to 2 V)."""
    tangent = (np.asarray(cell, float) - CELLS) / CELLS
    return STRETCH * 2 * tangent / (1 - tangent**2)


def cells_a_distance(z: NDArray) -> NDArray:
    """dv/dz."""
    root = np.sqrt(1 + (z / STRETCH) ** 2)
    return (2 / SPACING) / (root * (1 + root))


def basis(cell: NDArray) -> tuple[NDArray, NDArray]:
    """Values of the basis and derivatives by v at places in cells, each of shape (places, COEFFICIENTS)."""
    cell = np.asarray(cell, float)
    whole = np.clip(np.floor(cell).astype(int), 0, 2 * CELLS - 1)
    value, slope = np.zeros((2, len(cell), COEFFICIENTS))
    row = np.arange(len(cell))[:, None]
    value[row, whole[:, None] + np.arange(4)], slope[row, whole[:, None] + np.arange(4)] = _pieces(cell - whole)
    return value, slope


def _pieces(f: NDArray) -> tuple[NDArray, NDArray]:
    """Values and derivatives, shape (places, 4), of the four B-splines over a cell at places from 0 to 1 in it."""
    values = ((1 - f) ** 3 / 6, (3 * f**3 - 6 * f**2 + 4) / 6, (-3 * f**3 + 3 * f**2 + 3 * f + 1) / 6, f**3 / 6)
    slopes = (-((1 - f) ** 2) / 2, (3 * f**2 - 4 * f) / 2, (-3 * f**2 + 2 * f + 1) / 2, f**2 / 2)
    return np.stack(values, axis=-1), np.stack(slopes, axis=-1)


@lru_cache(maxsize=1)
def plateau_rows() -> tuple[NDArray, NDArray]:
    """The coefficients' weights in the plateaus at z = -∞ and +∞, each of shape (COEFFICIENTS,)."""
    ends, _ = basis(np.array([0.0, 2.0 * CELLS]))
    return ends[0], ends[1]


@lru_cache(maxsize=1)
def fading_row() -> NDArray:
    """The coefficients' weights in the a of E = E(∞) - a / z far out on the bright side, shape (COEFFICIENTS,)."""
    _, slopes = basis(np.array([2.0 * CELLS]))
    return slopes[0] * STRETCH * CELLS


@lru_cache(maxsize=1)
def transform() -> NDArray[np.complex128]:
    """∫ B_j'(z) exp(-2πi q z) dz over all z for each of `Q`, shape (Q, COEFFICIENTS)."""
    nodes, weights = np.polynomial.legendre.leggauss(6)
    far = 200.0
    panels = np.concatenate([np.arange(0, 20, 0.1), np.arange(20, far + 0.1, 0.5)])
    half = np.diff(panels)[:, None] / 2
    z = (panels[:-1, None] + half * (1 + nodes)).ravel()
    weight = (half * weights).ravel()
    z, weight = np.concatenate([-z[::-1], z]), np.concatenate([weight[::-1], weight])
    slope = basis(to_cell(z))[1] * (cells_a_distance(z) * weight)[:, None]
    table = np.exp(-2j * np.pi * Q[:, None] * z) @ slope
    # Beyond `far` the slope is that at the end times 2 b² / (h z²): an exponential integral.
    _, end_slopes = basis(np.array([0.0, 2.0 * CELLS]))
    turn = 2j * np.pi * Q[1:] * far
    beyond = (2 * STRETCH**2 / SPACING) * (np.exp(-turn) - turn * exp1(turn)) / far
    table[1:] += beyond[:, None] * end_slopes[1] + np.conj(beyond)[:, None] * end_slopes[0]
    dark, white = plateau_rows()
    table[0] = white - dark
    return table


def gaussian_edges(blur: NDArray) -> NDArray:
    """Coefficients of about the edges that Gaussian blurs of such widths give, (n,) to (n, COEFFICIENTS)."""
    return ndtr(knots() / blur[:, None])


@lru_cache(maxsize=1)
def knots() -> NDArray:
    """Where each coefficient belongs: its distance from the edge, shape (COEFFICIENTS,)."""
    return to_distance(np.clip(np.arange(COEFFICIENTS) - 1.0, 1e-6, 2 * CELLS - 1e-6))


# -- bins -----------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def bin_places() -> NDArray:
    """The z of the bins' centres, shape (BINS,)."""
    return to_distance((np.arange(BINS) + 0.5) / FINE)


@lru_cache(maxsize=1)
def bin_pieces() -> tuple[NDArray, NDArray]:
    """`_pieces` averaged over the bins of a cell: the same in every cell."""
    nodes, weights = np.polynomial.legendre.leggauss(2)
    places = (np.arange(FINE)[:, None] + (1 + nodes) / 2) / FINE
    values, slopes = _pieces(places)
    return weights @ values / 2, weights @ slopes / 2


def levels(coefficients: NDArray) -> NDArray:
    """Profiles averaged over the bins, shape (n, COEFFICIENTS) to (n, BINS)."""
    return _at_bins(coefficients, bin_pieces()[0])


def rises(coefficients: NDArray) -> NDArray:
    """Their derivatives by v, as well."""
    return _at_bins(coefficients, bin_pieces()[1])


def _at_bins(coefficients: NDArray, pieces: NDArray) -> NDArray:
    four = np.stack([coefficients[:, k : k + 2 * CELLS] for k in range(4)], axis=2)
    return (four.reshape(-1, 4) @ pieces.T).reshape(-1, BINS)


def cell_sums(what: NDArray) -> NDArray:
    """Sums over the bins of each cell: shape (..., BINS) to (..., 2 CELLS)."""
    return what.reshape(*what.shape[:-1], 2 * CELLS, FINE).sum(axis=-1)


def weighted_cell_sums(coefficients: NDArray, weight: NDArray) -> NDArray:
    """`cell_sums` of profiles times weights: shapes (n, m, COEFFICIENTS) and (n, BINS) to (n, m, 2 CELLS)."""
    four = (weight.reshape(-1, FINE) @ bin_pieces()[0]).reshape(-1, 1, 2 * CELLS, 4)
    total = coefficients[..., : 2 * CELLS] * four[..., 0]
    for k in range(1, 4):
        total += coefficients[..., k : k + 2 * CELLS] * four[..., k]
    return total


def onto_basis(what: NDArray) -> NDArray:
    """Σ_bins what B_j: shape (..., BINS) to (..., COEFFICIENTS)."""
    shape = what.shape[:-1]
    four = (what.reshape(-1, FINE) @ bin_pieces()[0]).reshape(*shape, 2 * CELLS, 4)
    total = np.zeros((*shape, COEFFICIENTS))
    for k in range(4):
        total[..., k : k + 2 * CELLS] += four[..., k]
    return total


# -- what a lens's edge may look like -------------------------------------------------------------------------

ZONES = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0])
"""Distances, in pixels, between the zones in which each edge's own samples choose how rough the profile is."""

# Standard deviations of the rows of `roughness`, and the power of the distance that their fading begins with.
_PRIOR = 0.1
_LEAST_PRIOR = 2e-5
_UNSEEN = 1e-4
_FADES = 3.5
_FAR_SLOPE = 0.02
_LARGEST_FAR_SLOPE = 0.2
_STRAIGHT_WITHIN = 2.0


class Roughness(NamedTuple):
    """Differences of neighbouring coefficients that vanish where the profile is linear, in 1/z far out.

    Attributes
    ----------
    rows : ndarray, shape (COEFFICIENTS, 3)
        Second differences against arctan(z/2), scaled so that the middle weight is -2; the first and the last row
        are the slopes against it at infinity.
    first : ndarray of int, shape (COEFFICIENTS,)
        The coefficient that a row's first weight is for.
    zone : ndarray of int, shape (COEFFICIENTS,)
        Which of the zones a row belongs to; the slopes at infinity have one of their own.
    """

    rows: NDArray[np.float64]
    first: NDArray[np.int64]
    zone: NDArray[np.int64]


@lru_cache(maxsize=1)
def roughness() -> Roughness:
    """Where profiles may be rough."""
    z = knots()
    x = np.arctan(z / _STRAIGHT_WITHIN)
    x[0], x[-1] = 2 * x[1] - x[2], 2 * x[-2] - x[-3]
    gap = np.diff(x)
    rows = np.zeros((COEFFICIENTS, 3))
    rows[1:-1] = np.stack([1 / gap[:-1], -(1 / gap[:-1] + 1 / gap[1:]), 1 / gap[1:]], axis=1)
    rows[1:-1] *= (-2 / rows[1:-1, 1])[:, None]
    rows[0], rows[-1] = (np.array([-1, 0, 1]) / (x[i + 2] - x[i]) for i in (0, -3))
    zone = np.digitize(np.abs(z), ZONES)
    zone[[0, -1]] = len(ZONES) + 1
    first = np.clip(np.arange(COEFFICIENTS) - 1, 0, COEFFICIENTS - 3)
    return Roughness(rows, first, zone)


def prior_roughness(blur: NDArray) -> NDArray:
    """Standard deviations of the rows of `roughness` for profiles from 0 to 1, before samples tell.

    About those of a Gaussian blur in the middle, from there falling as a power of the distance.

    Parameters
    ----------
    blur : ndarray, shape (n,)
        Blur widths in pixels.

    Returns
    -------
    ndarray, shape (n, COEFFICIENTS)
    """
    z = np.abs(knots()) / blur[:, None]
    prior = np.full(z.shape, _FAR_SLOPE)
    gap = 1 / cells_a_distance(knots()[1:-1]) / blur[:, None]
    prior[:, 1:-1] = np.maximum(_PRIOR * gap**2 / (1 + z[:, 1:-1] ** _FADES), _LEAST_PRIOR)
    return prior


def seen_roughness(reach: NDArray) -> NDArray[np.bool_]:
    """Which rows of `roughness` lie among samples: beyond, nothing but 1/z is expected.

    Parameters
    ----------
    reach : ndarray, shape (n, 2)
        How far the samples go on the dark and the bright side, in pixels.

    Returns
    -------
    ndarray, shape (n, COEFFICIENTS)
    """
    z = knots()
    seen = (z >= -reach[:, :1]) & (z <= reach[:, 1:])
    seen[:, [0, -1]] = True
    return seen


def largest_roughness(seen: NDArray) -> NDArray:
    """The largest standard deviations of the rows: next to none where nothing is seen, some lens's tail light.

    Parameters
    ----------
    seen : ndarray of bool, shape (n, COEFFICIENTS)
    """
    largest = np.where(seen, np.inf, _UNSEEN)
    largest[:, [0, -1]] = _LARGEST_FAR_SLOPE
    return largest
