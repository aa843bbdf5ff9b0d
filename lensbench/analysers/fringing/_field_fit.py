"""Fitting the colours' fields to their edges: robustly, with only the parameters that the edges support."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import (
    RADIAL_TERMS,
    ColourField,
)
from lensbench.analysers.fringing._field_centre import FieldCentre, field_centres
from lensbench.analysers.fringing._field_model import FieldModel
from lensbench.analysers.fringing._tile_shifts import TileShifts

GAIN = 10.0
"""By how much a uniform shift or decentring must lower Schwarz's criterion to be kept (study:
`tests/bench/fringing.py`)."""

LEAST_TILES = 8
"""Whole tiles below which no field is fitted."""

TILES_FOR_QUADRATICS = 40
"""Whole tiles from which the common offset may change over the frame as a quadratic, not as a constant."""


def fit_colour_fields(shifts: Mapping[str, TileShifts], size: tuple[int, int]) -> dict[str, ColourField]:
    """Fit the smooth field of each colour's displacement.

    Parameters
    ----------
    shifts : mapping of str to TileShifts
        Each colour's edges against green's.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    dict of ColourField by colour
        Without the colours that have too few whole tiles.

    References
    ----------
    The decentring terms are those of D. C. Brown, Decentering distortion of lenses, Photogrammetric Engineering 32
    (1966) 444-462.
    """
    models = {}
    for colour, part in shifts.items():
        whole = int(part.usable.all(axis=1).sum())
        if whole >= LEAST_TILES:
            terms = 12 if whole >= TILES_FOR_QUADRATICS else 2
            models[colour] = _robust_model(FieldModel(part, size, terms, 0.0, part.usable))
    centres = field_centres([model for model, _ in models.values()])
    return {
        colour: _with_covariance(model, *_simplest(model, theta), centre)
        for (colour, (model, theta)), centre in zip(models.items(), centres, strict=True)
    }


def _robust_model(model: FieldModel) -> tuple[FieldModel, NDArray[np.float64]]:
    """The model without outliers, and the parameters of all of the field that it was found by."""
    theta = model.solve(np.zeros(model.parameters), model.free(RADIAL_TERMS, True, True), robust=True)
    return model.without_outliers(theta), theta


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


def _with_covariance(
    model: FieldModel, theta: NDArray, free: NDArray[np.bool_], centre: FieldCentre
) -> ColourField:
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
    return ColourField(model.size, theta, covariance, rms, common_sigma, fitted, *centre)
