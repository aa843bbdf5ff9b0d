"""The axis of an even light: the point of the frame about which it is rotationally symmetric."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95

CORRELATED = 16
"""Neighbouring blocks over which the residual is alike, so that they count as one (chosen by experience)."""

MOST_STEPS, LONGEST_STEP, SETTLED = 20, 0.2, 1e-6
"""Gauss-Newton steps at most, the longest, and the last, as shares of the half-diagonal."""

LARGEST_INTERVAL = 0.5
"""Where half the 95 % interval is larger (share of the half-diagonal), the axis is not determined."""


def centre_of_light(
    x: NDArray,
    y: NDArray,
    values: NDArray,
    good: NDArray[np.bool_],
    size: tuple[int, int],
    least_sigma: float = 0.0,
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Fit an even polynomial of the radius, up to its sixth power, together with its axis (Gauss-Newton).

    Parameters
    ----------
    x, y : ndarray
        The grid's positions in pixels.
    values : ndarray, shape (y, x)
        Stops, or any logarithm of the light.
    good : ndarray of bool, shape (y, x)
        Which of them count.
    size : (int, int)
        Width and height of the frame in pixels.
    least_sigma : float
        Standard error of the values beside the residual of the fit.

    Returns
    -------
    (ndarray, ndarray) or None
        The axis across and down from the frame's centre, as a share of the half-diagonal, and half of the 95 %
        intervals, each of shape (2,); None where it is not determined.
    """
    thin = np.s_[::4, ::4]
    half = np.hypot(*size) / 2
    u, v = np.meshgrid((x[::4] - (size[0] - 1) / 2) / half, (y[::4] - (size[1] - 1) / 2) / half)
    good = good[thin]
    values, u, v = values[thin][good], u[good], v[good]
    centre = np.zeros(2)
    for _ in range(MOST_STEPS):
        q = (u - centre[0]) ** 2 + (v - centre[1]) ** 2
        powers = np.stack([np.ones_like(q), q, q**2, q**3], axis=1)
        profile = np.linalg.lstsq(powers, values, rcond=None)[0]
        slope = profile[1] + 2 * profile[2] * q + 3 * profile[3] * q**2
        design = np.column_stack([powers, -2 * (u - centre[0]) * slope, -2 * (v - centre[1]) * slope])
        solution, *_ = np.linalg.lstsq(design, values, rcond=None)
        step = np.clip(solution[4:], -LONGEST_STEP, LONGEST_STEP)
        centre = centre + step
        if np.abs(centre).max() > 1:
            return None
        if np.abs(step).max() < SETTLED:
            break
    residual = values - design @ solution
    variance = np.mean(residual**2) * CORRELATED + least_sigma**2
    interval = NORMAL_95 * np.sqrt(np.diag(np.linalg.pinv(design.T @ design))[4:] * variance)
    if not np.all(np.isfinite(interval)) or interval.max() > LARGEST_INTERVAL:
        return None
    return centre, interval
