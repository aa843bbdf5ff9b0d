"""The smooth profile of an edge: a spline on knots that widen outwards, and its exact transform.

A profile is E(z) = Σ c_j B_j(v(z)), z the distance from the edge in blur widths. B_j are cubic B-splines on whole
numbers of v, and v(z) = (2/h) z / (1 + √(1 + (z/b)²)): knots stand h apart at the edge, spread as |z| beyond
b, and z = ±∞ is v = ±V. A profile linear in v at its ends falls off as 1/z, as the light of every pupil with a
rim does, so the plateaus are those at infinity and no window cuts the tails.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import exp1

SPACING = 0.6
"""h: distance of the knots at the edge, in blur widths."""

CELLS = 18
"""V: cells of the spline on each side."""

STRETCH = SPACING * CELLS / 2
"""b: distance, in blur widths, from which the knots spread."""

COEFFICIENTS = 2 * CELLS + 3
FINE = 16
"""Bins that a cell is divided into."""

BINS = 2 * CELLS * FINE

Q = np.linspace(0, 1, 257) ** 2
"""Frequencies of the transform, cycles a blur width; even in √q, so fine where wide tails show."""


def to_cell(z: NDArray) -> NDArray:
    """v(z) + V: the place in cells, 0 to 2 V."""
    x = z * z.dtype.type(1 / STRETCH)
    return z.dtype.type(2 / SPACING) * z / (1 + np.sqrt(1 + x * x)) + z.dtype.type(CELLS)


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
    f = cell - whole
    values = ((1 - f) ** 3 / 6, (3 * f**3 - 6 * f**2 + 4) / 6, (-3 * f**3 + 3 * f**2 + 3 * f + 1) / 6, f**3 / 6)
    slopes = (-((1 - f) ** 2) / 2, (3 * f**2 - 4 * f) / 2, (-3 * f**2 + 2 * f + 1) / 2, f**2 / 2)
    value, slope = np.zeros((2, len(cell), COEFFICIENTS))
    row = np.arange(len(cell))
    for k in range(4):
        value[row, whole + k] = values[k]
        slope[row, whole + k] = slopes[k]
    return value, slope


@lru_cache(maxsize=1)
def bin_tables() -> tuple[NDArray, NDArray, NDArray]:
    """At the bins' centres: basis values and slopes by v, shape (BINS, COEFFICIENTS), and z, shape (BINS,)."""
    cell = (np.arange(BINS) + 0.5) / FINE
    value, slope = basis(cell)
    return value, slope, to_distance(cell)


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
    ends, end_slopes = basis(np.array([0.0, 2.0 * CELLS]))
    turn = 2j * np.pi * Q[1:] * far
    beyond = (2 * STRETCH**2 / SPACING) * (np.exp(-turn) - turn * exp1(turn)) / far
    table[1:] += beyond[:, None] * end_slopes[1] + np.conj(beyond)[:, None] * end_slopes[0]
    table[0] = ends[1] - ends[0]
    return table


@lru_cache(maxsize=1)
def band_products() -> tuple[NDArray, ...]:
    """Products of basis functions k apart at the bins' centres, (BINS, COEFFICIENTS - k) for k = 0 to 3."""
    value = bin_tables()[0]
    return tuple(value[:, : COEFFICIENTS - k] * value[:, k:] for k in range(4))


def normal_matrices(weight: NDArray) -> NDArray:
    """Σ_bins weight B_j B_k of each edge: shape (n, BINS) -> (n, COEFFICIENTS, COEFFICIENTS)."""
    full = np.zeros((len(weight), COEFFICIENTS, COEFFICIENTS))
    for k, product in enumerate(band_products()):
        j = np.arange(COEFFICIENTS - k)
        full[:, j, j + k] = full[:, j + k, j] = weight @ product
    return full


@lru_cache(maxsize=1)
def roughness() -> tuple[NDArray, NDArray]:
    """Second differences of coefficients, shape (m, COEFFICIENTS), and the |z| that each is about, shape (m,)."""
    second = np.diff(np.eye(COEFFICIENTS), 2, axis=0)
    cell = np.clip(np.arange(COEFFICIENTS - 2), 0.05, 2 * CELLS - 0.05)
    return second, np.abs(to_distance(cell))
