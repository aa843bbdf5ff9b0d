"""How well a mapping explains the measured lines: residuals against the print, their derivatives, chi-squared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry._edge_covariance import EdgeCovariance
from lensbench.analysers.geometry._lines import Lines, PrintedLines
from lensbench.analysers.geometry._mapping import CENTRE, DECENTRING, Mapping
from lensbench.analysers.geometry._priors import Priors
from lensbench.analysers.numerics.free_parameters import solve_free


def free_parameters(theta: NDArray, decentred: bool, centred: bool = False) -> NDArray[np.bool_]:
    """Which parameters are fitted: decentring only where asked, the centre of distortion unless it is held."""
    free = np.ones(len(theta), bool)
    free[DECENTRING] = decentred
    free[CENTRE] = not centred
    return free


@dataclass(frozen=True, eq=False)
class LineModel:
    """The lines of one shot, what they were printed as, and the priors of the mapping between both."""

    lines: Lines
    printed: PrintedLines
    size: tuple[int, int]
    print_scale: NDArray[np.float64]
    priors: Priors

    def mapping(self, theta: NDArray) -> Mapping:
        """The mapping with these parameters."""
        return Mapping(self.size, theta, self.print_scale)

    def residual_px(self, theta: NDArray) -> NDArray[np.float64]:
        """Residual of each edge along its normal, in pixels, shape (edges,)."""
        return self._residual_mm(theta) * self._px_per_mm(theta)

    def jacobian_px(self, theta: NDArray) -> NDArray[np.float64]:
        """Its derivative by each parameter, shape (edges, parameters)."""
        return self._jacobian_mm(theta) * self._px_per_mm(theta)[:, None]

    def chi_squared(self, theta: NDArray, covariance: EdgeCovariance) -> float:
        """χ² of edges and priors."""
        whitened = covariance.whitened(self.residual_px(theta))
        return float(np.square(whitened).sum() + np.square(self.priors.residuals(theta)).sum())

    def solve(
        self, theta: NDArray, covariance: EdgeCovariance, free: NDArray[np.bool_], robust: bool = False
    ) -> NDArray[np.float64]:
        """Least squares from a start over the free parameters, the others being zero.

        The scale between sheet and picture is taken at the start. Robust for starts that outliers may spoil.
        """
        px_per_mm = self._px_per_mm(theta)
        by_prior = self.priors.jacobian(len(theta))[:, free]

        def residuals(trial: NDArray) -> NDArray:
            edges = covariance.whitened(self._residual_mm(trial) * px_per_mm)
            return np.concatenate([edges.ravel(), self.priors.residuals(trial)])

        def jacobian(trial: NDArray) -> NDArray:
            by_edge = covariance.whitened(self._jacobian_mm(trial)[:, free] * px_per_mm[:, None])
            return np.concatenate([by_edge.reshape(-1, by_edge.shape[-1]), by_prior])

        return solve_free(residuals, jacobian, theta, free, "cauchy" if robust else "linear", 50)

    def _residual_mm(self, theta: NDArray) -> NDArray[np.float64]:
        """How far outside its printed line each edge lies on the sheet, in millimetres."""
        mapping = self.mapping(theta)
        outside = ((mapping.on_sheet(self.lines.point) - self.printed.point) * self.printed.outward).sum(axis=-1)
        return outside - mapping.ink(self.lines.point)

    def _jacobian_mm(self, theta: NDArray) -> NDArray[np.float64]:
        mapping = self.mapping(theta)
        by_sheet = mapping.sheet_jacobian(self.lines.point, self.printed.outward)
        return by_sheet - mapping.ink_jacobian(self.lines.point)

    def _px_per_mm(self, theta: NDArray) -> NDArray[np.float64]:
        """Pixels in the picture, along each edge's normal, of one millimetre across its printed line."""
        mapping = self.mapping(theta)
        ahead, behind = (
            (mapping.on_sheet(self.lines.point + step * self.lines.normal) * self.printed.outward).sum(axis=-1)
            for step in (0.5, -0.5)
        )
        return 1 / np.maximum(np.abs(ahead - behind), 1e-9)
