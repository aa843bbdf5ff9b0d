"""The smooth profile of an edge: a spline on knots that widen outwards, its exact transform, its smoothness.

A profile is E(z) = Σ c_j B_j(v(z)), z the distance from the edge in blur widths. B_j are cubic B-splines on whole
numbers of v, and v(z) = (2/h) z / (1 + √(1 + (z/b)²)): knots stand h apart at the edge, spread as |z| beyond
b, and z = ±∞ is v = ±V. A profile linear in 1/z far out falls off as the light of every pupil with a rim does, so
the plateaus are those at infinity and no window cuts the tails.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import exp1, ndtr

from lensbench.analysers.edge import _loops as loops

SPACING = 0.6
"""h: distance of the knots at the edge, in blur widths."""

CELLS = 16
"""V: cells of the spline on each side."""

STRETCH = SPACING * CELLS / 2
"""b: distance, in blur widths, from which the knots spread."""

COEFFICIENTS = 2 * CELLS + 3

FINE = 16
"""Bins that a cell is divided into."""

BINS = 2 * CELLS * FINE

BAND = 4
"""Diagonals of a normal matrix on and above the main one that aren't empty."""

GRID = SPACING, STRETCH, float(CELLS), float(FINE)
"""What compiled loops need to know of the bins."""

Q = np.linspace(0, 1, 257) ** 2
"""Frequencies of the transform, cycles a blur width; even in √q, so fine where wide tails show."""


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


def gaussian_edge() -> NDArray:
    """Coefficients of about the edge that a Gaussian blur of one blur width gives, shape (COEFFICIENTS,)."""
    cell = np.clip(np.arange(COEFFICIENTS) - 1.0, 1e-6, 2 * CELLS - 1e-6)
    return ndtr(to_distance(cell))


# -- bins -----------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def bin_places() -> NDArray:
    """The z of the bins' centres, shape (BINS,)."""
    return to_distance((np.arange(BINS) + 0.5) / FINE)


@lru_cache(maxsize=1)
def bin_pieces() -> tuple[NDArray, NDArray]:
    """`_pieces` at the bins of a cell: the same in every cell."""
    return _pieces((np.arange(FINE) + 0.5) / FINE)


def levels(coefficients: NDArray) -> NDArray:
    """Profiles at the bins' centres, shape (n, COEFFICIENTS) to (n, BINS)."""
    return _at_bins(coefficients, bin_pieces()[0])


def rises(coefficients: NDArray) -> NDArray:
    """Their derivatives by v there."""
    return _at_bins(coefficients, bin_pieces()[1])


def _at_bins(coefficients: NDArray, pieces: NDArray) -> NDArray:
    four = np.stack([coefficients[:, k : k + 2 * CELLS] for k in range(4)], axis=2)
    return (four.reshape(-1, 4) @ pieces.T).reshape(-1, BINS)


def onto_basis(what: NDArray) -> NDArray:
    """Σ_bins what B_j: shape (..., BINS) to (..., COEFFICIENTS)."""
    shape = what.shape[:-1]
    four = (what.reshape(-1, FINE) @ bin_pieces()[0]).reshape(*shape, 2 * CELLS, 4)
    total = np.zeros((*shape, COEFFICIENTS))
    for k in range(4):
        total[..., k : k + 2 * CELLS] += four[..., k]
    return total


# -- what a lens's edge may look like -------------------------------------------------------------------------

SCALES = 2.0 ** np.array([-7, -5, -3, -1, 1])
"""How rough the tails may be, against the usual; the edge's own samples choose."""

_CORE_ROUGHNESS = 0.1
_TAIL_ROUGHNESS = 0.0008
_UNSEEN_ROUGHNESS = 1e-4
_FAR_SLOPE = 0.15
_CORE_WIDTH = 1.8
_TAIL_FROM = 2.6


@lru_cache(maxsize=1)
def roughness_rows() -> tuple[NDArray, NDArray]:
    """Differences of neighbouring coefficients that vanish where the profile is linear, in 1/z far out.

    Returns
    -------
    rows : ndarray, shape (COEFFICIENTS, COEFFICIENTS)
        Second differences against arctan(z/2), scaled so that the middle weight is -2 in size; the first and the
        last row are the slopes against it at infinity.
    z : ndarray, shape (COEFFICIENTS,)
        Where each belongs, in blur widths, negative on the dark side.
    """
    cell = np.clip(np.arange(COEFFICIENTS) - 1.0, 1e-6, 2 * CELLS - 1e-6)
    z = to_distance(cell)
    x = np.arctan(z / 2)
    x[0], x[-1] = 2 * x[1] - x[2], 2 * x[-2] - x[-3]
    gap = np.diff(x)
    rows = np.zeros((COEFFICIENTS, COEFFICIENTS))
    j = np.arange(COEFFICIENTS - 2)
    rows[j + 1, j], rows[j + 1, j + 2] = 1 / gap[:-1], 1 / gap[1:]
    rows[j + 1, j + 1] = -(1 / gap[:-1] + 1 / gap[1:])
    rows[j + 1] *= (2 / np.abs(rows[j + 1, j + 1]))[:, None]
    rows[0, [0, 2]] = -1 / (x[2] - x[0]), 1 / (x[2] - x[0])
    rows[-1, [-3, -1]] = -1 / (x[-1] - x[-3]), 1 / (x[-1] - x[-3])
    return rows, np.concatenate([[-np.inf], z[1:-1], [np.inf]])


def expected_roughness(reach: NDArray, scale: NDArray) -> NDArray:
    """Standard deviation of each of `roughness_rows` for profiles from 0 to 1, a prior of what lenses do.

    Taken from the profiles of diffraction, defocus, coma, haloes and motion: rough within two blur widths, then
    falling as 1/z³; nothing but 1/z where there are no samples, and of that a perfect lens's share or less.

    Parameters
    ----------
    reach : ndarray, shape (n, 2)
        How far the samples go on the dark and the bright side, in blur widths.
    scale : ndarray, shape (k,) or (n, 1)
        Factors on the tails' roughness.

    Returns
    -------
    ndarray, shape (n, k, COEFFICIENTS)
    """
    _, z = roughness_rows()
    scale = np.asarray(scale)[..., None]
    usual = np.maximum(_CORE_ROUGHNESS / (1 + (np.abs(z) / _CORE_WIDTH) ** 3), _TAIL_ROUGHNESS)
    rough = usual * np.where(np.abs(z) > _TAIL_FROM, scale, 1.0)
    rough = np.where(np.isinf(z), _FAR_SLOPE * np.minimum(2 * scale, 1) ** 1.5, rough)
    unseen = np.isfinite(z) & ((z < -reach[:, :1]) | (z > reach[:, 1:]))
    return np.where(unseen[:, None], np.minimum(rough, _UNSEEN_ROUGHNESS * np.maximum(scale, 1)), rough)


@lru_cache(maxsize=1)
def _roughness_products() -> NDArray:
    rows, _ = roughness_rows()
    products = np.zeros((len(rows), BAND, COEFFICIENTS))
    for d in range(3):
        products[:, d, : COEFFICIENTS - d] = rows[:, : COEFFICIENTS - d] * rows[:, d:]
    return products.reshape(len(rows), -1)


def roughness_bands(roughness: NDArray) -> NDArray:
    """Σ rows' rows / roughness² as upper bands: shape (..., rows) to (..., BAND, COEFFICIENTS)."""
    bands = (roughness**-2 @ _roughness_products()).reshape(*roughness.shape[:-1], BAND, COEFFICIENTS)
    # Levels are within hundreds of contrasts: that holds a profile without any samples.
    bands[..., 0, :] += 1e-5
    return bands
