"""How well a field of one colour's displacement explains the edges: residuals and their derivatives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import (
    CENTRE,
    COMMON,
    DECENTRING,
    SHIFT,
    WITHOUT_COMMON,
    common_terms,
    displacement,
    displacement_jacobian,
)
from lensbench.analysers.fringing._tile_shifts import TileShifts
from lensbench.analysers.numerics.free_parameters import solve_free
from lensbench.frame import centre_of, half_diagonal
from lensbench.robust import robust_sigma

CENTRE_SIGMA = 0.15
"""Prior of the field's centre: its distance from the frame's centre, as a standard deviation in half-diagonals
(chosen by experience)."""

OUTLIER = 5.0
"""Edges whose residual exceeds this many standard deviations are rejected (common practice)."""


@dataclass(frozen=True, eq=False)
class FieldModel:
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

    def by_fields(self, fields: Callable[[NDArray], NDArray]) -> NDArray[np.float64]:
        """What fields of displacement over the frame would add to the residuals, shape (residuals, fields)."""
        s = self.shifts
        q = (s.points - centre_of(self.size)) / half_diagonal(self.size)
        along_normal = np.einsum("teif,tei->tef", fields(q).mean(axis=2), s.normal)
        by_edge = (along_normal / np.hypot(s.sigma, self.unexplained)[..., None])[self.fitted]
        return np.concatenate([by_edge, np.zeros((2, by_edge.shape[-1]))])

    def solve(self, theta: NDArray, free: NDArray[np.bool_], robust: bool = False) -> NDArray[np.float64]:
        """Least squares from a start over the free parameters; the others are 0."""
        loss: Literal["linear", "cauchy"] = "cauchy" if robust else "linear"
        return solve_free(self.residuals, lambda trial: self.jacobian(trial)[:, free], theta, free, loss)

    def without_outliers(self, theta: NDArray) -> FieldModel:
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
