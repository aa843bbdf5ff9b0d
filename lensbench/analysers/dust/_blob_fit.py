"""Least-squares fits of round marks: many at once, each in a window of the pyramid level that suits its size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._blob_windows import REACH_CELLS, Windows, windows_around
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._mark_profile import Profile
from lensbench.analysers.dust._peaks import Peaks
from lensbench.analysers.dust._pyramid import Level
from lensbench.analysers.dust._residual import Residual
from lensbench.findings import NORMAL_95, Figure

WINDOW_LENGTHS = 7
"""Cells to a mark's length when it is fitted again: the window then extends beyond both ends."""

START_RADIUS, START_STEEPNESS = 1.3, 3.0
"""Radius at half depth, in standard deviations of the filter, and steepness from which fits start."""

STEEPNESS = (1.3, 20.0)
"""Limits of the rim's steepness: 2 is a Gaussian, 20 nearly a sharp-edged disc."""

STEPS = 30
"""Steps of the fit at most."""

SETTLED, SETTLED_SHARE = 0.02, 2e-5
"""The fit has converged when a step changes the sum of squares, in units of noise, by less than this and that
share of it."""

PARAMETERS = 8
"""Height, background, x, y, three of the ellipse, logarithm of the steepness."""


def fit_blobs(
    residual: Residual, levels: list[Level], peaks: Peaks, found: Sequence[Blob | Fibre] = ()
) -> list[Blob | None]:
    """Fit a round mark to each peak, in a window of the level on which it is a few cells wide.

    Parameters
    ----------
    residual : Residual
        For the strength of the light and, for the smallest marks, single pixels.
    levels : list of Level
        The pyramid, without the marks already known.
    peaks : Peaks
        Where to start.
    found : sequence of Blob and Fibre
        The marks already known.

    Returns
    -------
    list of Blob or None
        One for each peak; None where it is none, or larger than the window.
    """
    if not len(peaks.x):
        return []
    windows = windows_around(residual, levels, _fitting_level(levels, peaks.sigma), peaks.x, peaks.y, found)
    radius = START_RADIUS * np.maximum(peaks.sigma / windows.cell_px, 1.0)
    zero = np.zeros(len(radius))
    theta = np.stack(
        [zero, zero, zero, zero, 1 / radius, zero, 1 / radius, np.log(START_STEEPNESS) + zero], axis=1
    )
    theta[:, :2] = _linear_parameters(theta, windows)
    return _fit(theta, windows, residual)


def refit_blobs(residual: Residual, levels: list[Level], blobs: list[Blob]) -> list[Blob | None]:
    """Fit round marks again where others around them have been subtracted since.

    Parameters
    ----------
    residual, levels
        As in `fit_blobs`; all marks are subtracted from the levels, these too.
    blobs : list of Blob
        As found so far.

    Returns
    -------
    list of Blob or None
        As from `fit_blobs`.
    """
    if not blobs:
        return []
    x, y, length = np.array([(s.x, s.y, s.length.value) for s in blobs]).T
    numbers = np.maximum(_fitting_level(levels, length / WINDOW_LENGTHS), 0)
    windows = windows_around(residual, levels, numbers, x, y)
    theta = np.stack([_parameters(s, residual, cell) for s, cell in zip(blobs, windows.cell_px, strict=True)])
    # The levels are without these marks: the models are added back.
    negative = _design(theta, replace(windows, z=np.zeros_like(windows.z)))[:, -1]
    return _fit(theta, replace(windows, z=windows.z - negative), residual)


def _parameters(blob: Blob, residual: Residual, cell: float) -> NDArray[np.float64]:
    """The parameters of a mark, in cells of some size, shape (PARAMETERS,)."""
    height = blob.depth.value / 100 * float(residual.strength_at(blob.x, blob.y)) * cell / 2
    # The rotation that makes the ellipse's matrix lower triangular with a positive diagonal.
    lower = np.linalg.cholesky((blob.ellipse.T @ blob.ellipse)[::-1, ::-1])[::-1, ::-1].T * cell
    return np.array([height, 0, 0, 0, lower[0, 0], lower[1, 0], lower[1, 1], np.log(blob.steepness)])


def _fitting_level(levels: list[Level], sizes: NDArray) -> NDArray[np.int64]:
    """Numbers of the coarsest levels with cells no larger than each size; -1 where there is none."""
    return np.searchsorted([level.cell_px for level in levels], sizes, side="right") - 1


def _fit(theta: NDArray, windows: Windows, residual: Residual) -> list[Blob | None]:
    """Levenberg-Marquardt on all windows at once, from parameters theta of shape (n, PARAMETERS)."""
    theta, radius = theta.copy(), 2 / (theta[:, 4] + theta[:, 6])
    products = _products(theta, windows)
    damping = np.full(len(theta), 1e-2)
    active, own = np.arange(len(theta)), windows
    for _ in range(STEPS):
        trial = _bounded(theta[active] + _step(products[active], damping[active]), radius[active])
        trial_products = _products(trial, own)
        error = products[active, -1, -1]
        gain = error - trial_products[:, -1, -1]
        better = gain > 0
        theta[active[better]], products[active[better]] = trial[better], trial_products[better]
        damping[active] *= np.where(better, 0.25, 6)
        unsettled = (np.abs(gain) > SETTLED + SETTLED_SHARE * error) & (damping[active] <= 1e6)
        if not unsettled.any():
            break
        if not unsettled.all():
            active, own = active[unsettled], own.chosen(unsettled)
    return _described(theta, products, windows, residual)


def _step(products: NDArray, damping: NDArray) -> NDArray[np.float64]:
    """The step of the parameters, shape (n, PARAMETERS)."""
    normal, right = products[:, :-1, :-1], products[:, :-1, -1:]
    diagonal = np.einsum("nii->ni", normal)
    added = damping[:, None] * diagonal + 1e-9 * np.maximum(diagonal.max(axis=1, keepdims=True), 1)
    return np.linalg.solve(normal + np.eye(PARAMETERS) * added[:, None], right)[..., 0]


def _products(theta: NDArray, windows: Windows) -> NDArray[np.float64]:
    """Normal matrix, right-hand side and sum of squares: weighted products of the columns of `_design`."""
    design = _design(theta, windows)
    return (design * windows.weight[:, None]) @ design.transpose(0, 2, 1)


def _linear_parameters(theta: NDArray, windows: Windows) -> NDArray:
    """Height and background that fit best with the other parameters as they are and these 0, shape (n, 2)."""
    products = _products(theta, windows)
    return np.linalg.solve(products[:, :2, :2] + 1e-9 * np.eye(2), products[:, :2, -1:])[..., 0]


def _design(theta: NDArray, windows: Windows) -> NDArray[np.float64]:
    """Derivatives of the model by each parameter, and at last its residual, shape (n, PARAMETERS + 1, cells)."""
    height, background, x, y, a, b, c, log_steep = (column[:, None] for column in theta.T)
    du, dv = windows.u - x, windows.v - y
    p, q = a * du, b * du + c * dv
    square = np.maximum(p * p + q * q, 1e-12)
    steep = np.exp(log_steep)
    log_radius = 0.5 * np.log(square)
    power = np.exp(np.minimum(steep * log_radius, 4.0))
    profile = np.exp(-np.log(2) * power)
    # height · d(profile)/d(log ρ); over ρ² for the derivatives by p and q.
    by_log = (-height * np.log(2) * steep) * power * profile
    by_square = by_log / square
    by_p, by_q = by_square * p, by_square * q
    design = np.empty((len(theta), PARAMETERS + 1, windows.z.shape[1]))
    design[:, 0] = profile
    design[:, 1] = 1
    design[:, 2] = -a * by_p - b * by_q
    design[:, 3] = -c * by_q
    design[:, 4] = by_p * du
    design[:, 5] = by_q * du
    design[:, 6] = by_q * dv
    design[:, 7] = by_log * log_radius
    design[:, 8] = windows.z - background - height * profile
    return design


def _bounded(theta: NDArray, radius: NDArray) -> NDArray:
    """Parameters limited to what the window can determine."""
    out = theta.copy()
    out[:, 2:4] = np.clip(out[:, 2:4], -2 * radius[:, None], 2 * radius[:, None])
    low, high = 1 / (2.0 * REACH_CELLS), 1 / 0.4
    out[:, 4] = np.clip(out[:, 4], low, high)
    out[:, 5] = np.clip(out[:, 5], -high, high)
    out[:, 6] = np.clip(out[:, 6], low, high)
    out[:, 7] = np.clip(out[:, 7], *np.log(STEEPNESS))
    return out


def _described(theta: NDArray, products: NDArray, windows: Windows, residual: Residual) -> list[Blob | None]:
    """The marks by their parameters; None where too little of one lies in its window."""
    counted = (windows.weight > 0).sum(axis=1)
    inside = np.abs(theta[:, 2:4]).max(axis=1) <= 0.6 * REACH_CELLS
    inside &= 1 / theta[:, [4, 6]].min(axis=1) <= 0.9 * REACH_CELLS
    within = np.flatnonzero(inside & (counted >= 4 * PARAMETERS))
    blobs: list[Blob | None] = [None] * len(theta)
    theta, windows, counted = theta[within], windows.chosen(within), counted[within]
    normal, squares, cell = products[within, :-1, :-1], products[within, -1, -1], windows.cell_px
    reduced_chi_squared = np.maximum(squares / np.maximum(counted - PARAMETERS, 1), 1.0)
    covariance = np.linalg.pinv(normal, hermitian=True) * reduced_chi_squared[:, None, None]
    x, y = windows.x + cell * theta[:, 2], windows.y + cell * theta[:, 3]
    extents, half_extents = _extents(theta[:, 4:7], covariance[:, 4:7, 4:7])
    strength = residual.strength_at(x, y) * cell / 2
    depth = 100 * theta[:, 0] / strength
    half_depth = 100 * NORMAL_95 * np.sqrt(np.maximum(covariance[:, 0, 0], 0)) / strength
    energy = theta[:, 0] ** 2 * normal[:, 0, 0]
    misfit = np.maximum(squares - counted, 0) / np.maximum(energy, 1e-9)
    for n, number in enumerate(within):
        blobs[number] = Blob(
            float(x[n]),
            float(y[n]),
            np.array([[theta[n, 4], 0.0], [theta[n, 5], theta[n, 6]]]) / cell[n],
            Profile(float(np.exp(theta[n, 7]))),
            Figure.of(cell[n] * extents[n, 0], cell[n] * half_extents[n, 0], "px"),
            Figure.of(cell[n] * extents[n, 1], cell[n] * half_extents[n, 1], "px"),
            Figure.of(depth[n], half_depth[n], "%"),
            float(np.sqrt(energy[n])),
            float(misfit[n]),
        )
    return blobs


def _extents(three: NDArray, covariance: NDArray) -> tuple[NDArray, NDArray]:
    """Widths and lengths at half depth in cells, and half of their 95 % intervals, each of shape (n, 2).

    From the three parameters of each ellipse, shape (n, 3), and their covariance, shape (n, 3, 3).
    """

    def of(three: NDArray) -> NDArray:
        a, b, c = three.T
        return 2 / np.linalg.svd(np.stack([a, 0 * a, b, c], axis=-1).reshape(-1, 2, 2), compute_uv=False)

    small = 1e-4 * np.abs(three).max(axis=1, keepdims=True)
    slopes = np.stack([(of(three + small * e) - of(three - small * e)) / (2 * small) for e in np.eye(3)], axis=1)
    squares = np.einsum("nji,njk,nki->ni", slopes, covariance, slopes)
    return of(three), NORMAL_95 * np.sqrt(np.maximum(squares, 0))
