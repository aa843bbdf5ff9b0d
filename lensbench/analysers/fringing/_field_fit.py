"""Fitting one colour's field to its edges: robustly, with only the parameters that the edges support."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import (
    CENTRE,
    COMMON,
    DECENTRING,
    RADIAL_TERMS,
    SHIFT,
    WITHOUT_COMMON,
    ColourField,
    common_terms,
    displacement,
    displacement_jacobian,
)
from lensbench.analysers.fringing._tile_shifts import TileShifts
from lensbench.analysers.numerics.free_parameters import solve_free
from lensbench.robust import robust_sigma

CENTRE_SIGMA = 0.15
"""Prior of the field's centre: its distance from the frame's centre, as a standard deviation in half-diagonals
(chosen by experience)."""

GAIN = 10.0
"""By how much a uniform shift or decentring must lower Schwarz's criterion to be kept (study:
`tests/bench/fringing.py`)."""

LEAST_TILES = 8
"""Whole tiles below which no field is fitted."""

TILES_FOR_QUADRATICS = 40
"""Whole tiles from which the common offset may change over the frame as a quadratic, not as a constant."""

OUTLIER = 5.0
"""Edges whose residual exceeds this many standard deviations are rejected (common practice)."""


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
    model = _FieldModel(shifts, size, 12 if whole >= TILES_FOR_QUADRATICS else 2, 0.0, shifts.usable)
    theta = model.solve(np.zeros(model.parameters), model.free(RADIAL_TERMS, True, True), robust=True)
    model = model.without_outliers(theta)
    theta, free = _simplest(model, theta)
    return _with_covariance(model, theta, free)


@dataclass(frozen=True, eq=False)
class _FieldModel:
    """How well a field explains the edges: residuals and their derivatives.

    `unexplained` is the standard deviation in pixels that edges scatter by beyond their noise, `fitted` which
    edges count, shape (tiles, 3).
    """

    shifts: TileShifts
    size: tuple[int, int]
    common_terms: int
    unexplained: float
    fitted: NDArray[np.bool_]

    @property
    def parameters(self) -> int:
        return WITHOUT_COMMON + self.common_terms

    def free(self, radial: int, shift: bool, decentring: bool) -> NDArray[np.bool_]:
        """Which parameters are fitted."""
        free = np.ones(self.parameters, bool)
        free[SHIFT], free[DECENTRING] = shift, decentring
        free[6 + radial : WITHOUT_COMMON] = False
        return free

    def residual_px(self, theta: NDArray) -> NDArray[np.float64]:
        """Residual of each edge's shift, in pixels, shape (tiles, 3)."""
        s = self.shifts
        along_normal = (displacement(theta, s.points, self.size).mean(axis=2) * s.normal).sum(axis=-1)
        return s.shift - along_normal - self._common_basis() @ theta[COMMON]

    def residuals(self, theta: NDArray) -> NDArray[np.float64]:
        """Residuals of the fitted edges and of the centre's prior, in standard deviations."""
        sigma = np.hypot(self.shifts.sigma, self.unexplained)
        return np.concatenate([(self.residual_px(theta) / sigma)[self.fitted], theta[CENTRE] / CENTRE_SIGMA])

    def jacobian(self, theta: NDArray) -> NDArray[np.float64]:
        """Derivative of the residuals by each parameter, shape (residuals, parameters)."""
        s = self.shifts
        moved = displacement_jacobian(theta, s.points, self.size).mean(axis=2)
        along_normal = np.einsum("teip,tei->tep", moved, s.normal)
        sigma = np.hypot(s.sigma, self.unexplained)[..., None]
        by_edge = (-np.concatenate([along_normal, self._common_basis()], axis=-1) / sigma)[self.fitted]
        return np.concatenate([by_edge, np.eye(2, len(theta)) / CENTRE_SIGMA])

    def solve(self, theta: NDArray, free: NDArray[np.bool_], robust: bool = False) -> NDArray[np.float64]:
        """Least squares from a start over the free parameters; the others are 0."""
        loss: Literal["linear", "cauchy"] = "cauchy" if robust else "linear"
        return solve_free(self.residuals, lambda trial: self.jacobian(trial)[:, free], theta, free, loss)

    def without_outliers(self, theta: NDArray) -> _FieldModel:
        """The same model with its unexplained scatter estimated, and without outliers."""
        usable, sigma = self.shifts.usable, self.shifts.sigma
        residual = np.abs(self.residual_px(theta))
        scatter = robust_sigma(residual[usable], about=0.0)
        unexplained = float(np.sqrt(max(scatter**2 - float(np.median(sigma[usable])) ** 2, 0.0)))
        fitted = usable & (residual <= OUTLIER * np.hypot(sigma, unexplained))
        return replace(self, unexplained=unexplained, fitted=fitted)

    def _common_basis(self) -> NDArray[np.float64]:
        s = self.shifts
        turned = np.broadcast_to(s.half_turned[:, None], s.shift.shape)
        return common_terms(s.points.mean(axis=2), turned, self.size, self.common_terms)


def _simplest(model: _FieldModel, theta: NDArray) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
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


def _with_covariance(model: _FieldModel, theta: NDArray, free: NDArray[np.bool_]) -> ColourField:
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
    return ColourField(model.size, theta, covariance, rms, common_sigma, fitted)
