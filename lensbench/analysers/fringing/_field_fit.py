"""Fitting one colour's field to its edges: robustly, with only the parameters that the edges support."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import (
    RADIAL_TERMS,
    ColourField,
)
from lensbench.analysers.fringing._field_centre import field_centre
from lensbench.analysers.fringing._field_model import FieldModel
from lensbench.analysers.fringing._tile_shifts import TileShifts

GAIN = 10.0
"""By how much a uniform shift or decentring must lower Schwarz's criterion to be kept (study:
`tests/bench/fringing.py`)."""

LEAST_TILES = 8
"""Whole tiles below which no field is fitted."""

TILES_FOR_QUADRATICS = 40
"""Whole tiles from which the common offset may change over the frame as a quadratic, not as a constant."""


def fit_colour_field(shifts: TileShifts, size: tuple[int, int]) -> ColourField | None:
    """Fit the smooth field of one colour's displacement.

    Parameters
    ----------
    shifts : TileShifts
        The colour's edges against green's.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    ColourField or None
        None where there are too few whole tiles.

    References
    ----------
    The decentring terms are those of D. C. Brown, Decentering distortion of lenses, Photogrammetric Engineering 32
    (1966) 444-462.
    """
    whole = int(shifts.usable.all(axis=1).sum())
    if whole < LEAST_TILES:
        return None
    model = FieldModel(shifts, size, 12 if whole >= TILES_FOR_QUADRATICS else 2, 0.0, shifts.usable)
    theta = model.solve(np.zeros(model.parameters), model.free(RADIAL_TERMS, True, True), robust=True)
    model = model.without_outliers(theta)
    theta, free = _simplest(model, theta)
    return _with_covariance(model, theta, free)


def _simplest(model: FieldModel, theta: NDArray) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The parameters that the edges support, by Schwarz's criterion, and which of them are fitted."""

    def trial(radial: int, shift: bool, decentring: bool) -> tuple[float, NDArray, NDArray]:
        free = model.free(radial, shift, decentring)
        solved = model.solve(theta, free)
        chi_squared = float(np.square(model.residuals(solved)).sum())
        criterion = chi_squared + free.sum() * np.log(model.fitted.sum()) + GAIN * (shift + decentring)
        return criterion, solved, free

    radial = [trial(n, False, False) for n in range(1, RADIAL_TERMS + 1)]
    terms = 1 + int(np.argmin([criterion for criterion, _, _ in radial]))
    more = [trial(terms, *extra) for extra in ((True, False), (False, True), (True, True))]
    _, solved, free = min([radial[terms - 1], *more], key=lambda one: one[0])
    return solved, free


def _with_covariance(model: FieldModel, theta: NDArray, free: NDArray[np.bool_]) -> ColourField:
    """The field with its covariance, scaled by the reduced χ² where that exceeds 1."""
    fitted, sigma = model.fitted, model.shifts.sigma
    jacobian = model.jacobian(theta)[:, free]
    residuals = model.residuals(theta)
    scale = max(float(residuals @ residuals) / max(len(residuals) - jacobian.shape[1], 1), 1.0)
    covariance = np.zeros((len(theta), len(theta)))
    covariance[np.ix_(free, free)] = scale * np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)
    residual_px = np.where(fitted, model.residual_px(theta), 0.0)
    rms = float(np.sqrt(np.square(residual_px).sum() / max(fitted.sum() - free.sum(), 1)))
    # The deviation of a common offset from its smooth field shows in the mean of three residuals, whose noise has
    # a third of their variance.
    whole = fitted.all(axis=1)
    common_sigma = rms
    if whole.any():
        noise = np.square(sigma[whole]).mean() / 3
        common_sigma = float(np.sqrt(max(np.var(residual_px[whole].mean(axis=1)) - noise, 0.0)))
    return ColourField(model.size, theta, covariance, rms, common_sigma, fitted, *field_centre(model))
