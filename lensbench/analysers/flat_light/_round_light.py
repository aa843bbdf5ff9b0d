"""Light that is nearly round: what a lens alone would show of an even field, untouched by marks however wide."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.b_splines import spline_basis
from lensbench.findings import NORMAL_95

RADIAL_SPLINES = (16, 8, 6)
"""Splines along the radius of the even part, the part that goes once around, and the part that goes twice."""

POWERS = 4
"""Highest power of x and y together in what the light panel may add."""


STIFFNESS = 1e-5
"""Weight of the squared third differences of the radial splines, against that of one block for each function."""


def round_basis(
    x: NDArray, y: NDArray, size: tuple[int, int], centre: tuple[float, float] = (0.0, 0.0)
) -> NDArray[np.float64]:
    """Functions that are free along the radius and stiff around it, over a grid.

    A lens's light is nearly round; a wide smear is not, and so stays out of what these functions can follow. The
    centre is counted from the frame's, as a share of the half-diagonal.

    Returns
    -------
    ndarray, shape (len(y) * len(x), functions)
    """
    half = np.hypot(*size) / 2
    u = np.tile((np.asarray(x) - (size[0] - 1) / 2) / half - centre[0], len(y))
    v = np.repeat((np.asarray(y) - (size[1] - 1) / 2) / half - centre[1], len(x))
    farthest = 1 + np.hypot(*centre)
    r = np.hypot(u, v) / farthest
    functions = []
    for splines, waves in zip(RADIAL_SPLINES, ([1.0], [u, v], [u * u - v * v, 2 * u * v]), strict=True):
        radial = spline_basis(np.clip(r**2, 0, 1) - 0.5, 1, splines)
        functions += [radial * np.reshape(wave, (-1, 1)) for wave in waves]
    powers = [(i, j) for i in range(POWERS + 1) for j in range(POWERS + 1 - i)]
    functions.append(np.stack([u**i * v**j for i, j in powers], axis=1))
    return np.concatenate(functions, axis=1)


def centre_of_light(
    x: NDArray, y: NDArray, values: NDArray, good: NDArray[np.bool_], size: tuple[int, int], least: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """The axis of the round surface that fits best, with three powers of the squared radius, by Gauss and Newton.

    Parameters
    ----------
    x, y : ndarray
        The grid's places in pixels.
    values : ndarray, shape (y, x)
        Stops, or any logarithm of the light.
    good : ndarray of bool, shape (y, x)
        Which of them count.
    size : (int, int)
        Width and height of the frame in pixels.
    least : float
        Scatter of the values besides what the surface leaves over.

    Returns
    -------
    (ndarray, ndarray) or None
        Across and down from the frame's centre, as a share of the half-diagonal, and half of their 95 % intervals;
        None where nothing tells.
    """
    thin = np.s_[::4, ::4]
    half = np.hypot(*size) / 2
    u, v = np.meshgrid((x[::4] - (size[0] - 1) / 2) / half, (y[::4] - (size[1] - 1) / 2) / half)
    good = good[thin]
    values, u, v = values[thin][good], u[good], v[good]
    centre = np.zeros(2)
    for _ in range(20):
        q = (u - centre[0]) ** 2 + (v - centre[1]) ** 2
        powers = np.stack([np.ones_like(q), q, q**2, q**3], axis=1)
        profile = np.linalg.lstsq(powers, values, rcond=None)[0]
        slope = profile[1] + 2 * profile[2] * q + 3 * profile[3] * q**2
        design = np.column_stack([powers, -2 * (u - centre[0]) * slope, -2 * (v - centre[1]) * slope])
        solution, *_ = np.linalg.lstsq(design, values, rcond=None)
        step = np.clip(solution[4:], -0.2, 0.2)
        centre = centre + step
        if np.abs(centre).max() > 1:
            return None
        if np.abs(step).max() < 1e-6:
            break
    rest = values - design @ solution
    # What is left over is smooth, and so the same over some sixteen neighbours.
    variance = np.mean(rest**2) * 16 + least**2
    interval = NORMAL_95 * np.sqrt(np.diag(np.linalg.pinv(design.T @ design))[4:] * variance)
    if not np.all(np.isfinite(interval)) or interval.max() > 0.5:
        return None
    return centre, interval


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
    ndarray, shape (functions,)
        How much of each function: `basis @ that` is the fitted light, on this or any other grid.
    """
    weighed = basis * trust.reshape(-1, 1)
    normal = weighed.T @ basis
    normal += np.trace(normal) / len(normal) * _stiffness()
    return np.linalg.solve(normal, weighed.T @ values.ravel())


@functools.cache
def _stiffness() -> NDArray[np.float64]:
    """What bends count: they carry the light on into the frame's corners, where few blocks hold it."""
    parts = []
    for splines, waves in zip(RADIAL_SPLINES, (1, 2, 2), strict=True):
        third = np.diff(np.eye(splines), n=3, axis=0)
        parts += [STIFFNESS * third.T @ third] * waves
    radial = sum(len(part) for part in parts)
    powers = (POWERS + 1) * (POWERS + 2) // 2
    whole = 1e-9 * np.eye(radial + powers)
    start = 0
    for part in parts:
        whole[start : start + len(part), start : start + len(part)] += part
        start += len(part)
    return whole


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
        off = np.abs(values - (basis @ fit_round(values, trust, basis)).reshape(values.shape))
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
