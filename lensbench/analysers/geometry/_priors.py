"""Prior knowledge of a mapping's parameters: normal distributions, independent of one another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry._mapping import CENTRE, DECENTRING, DISTANCE, LEAN, RULERS
from lensbench.analysers.geometry._rulers import Rulers

CENTRE_SIGMA = 0.15
"""Distance of the centre of distortion from the frame's centre, in half-diagonals (chosen by experience)."""

DECENTRING_SIGMA = 0.01
"""Size of the decentring coefficients (chosen by experience)."""

LEAN_SIGMA = 0.3
"""Relative change of the target's distance over a half-diagonal: a strong tilt (chosen by experience)."""

DISTANCE_PRIOR = (2.5, 0.8)
"""Image distance in half-diagonals where none is known: its median, and the standard deviation of its logarithm
(from a wide-angle lens at infinity to a macro lens at life size)."""

PARAMETERS = np.r_[CENTRE, DECENTRING, LEAN, RULERS, DISTANCE]
"""The parameters that have a prior."""

SHEET_PRIORS = slice(-3, None)
"""Of these, the ones that all shots of a sheet share: the two ruler bars and the image distance."""


@dataclass(frozen=True, eq=False)
class Priors:
    """Expected values and standard deviations of `PARAMETERS`."""

    expected: NDArray[np.float64]
    sigma: NDArray[np.float64]

    @classmethod
    def of(cls, rulers: Rulers, distance: tuple[float, float] | None) -> Priors:
        """From the ruler bars, and the image distance (half-diagonals, relative sigma) where it is known."""
        likely, sigma = distance or DISTANCE_PRIOR
        expected = np.zeros(len(PARAMETERS))
        expected[-1] = np.log(likely)
        wide = np.repeat([CENTRE_SIGMA, DECENTRING_SIGMA, LEAN_SIGMA], 2)
        return cls(expected, np.array([*wide, *rulers.sigma, sigma]))

    def residuals(self, theta: NDArray) -> NDArray[np.float64]:
        """Deviations of the parameters from their priors, in standard deviations."""
        return (theta[PARAMETERS] - self.expected) / self.sigma

    def jacobian(self, parameters: int) -> NDArray[np.float64]:
        """Derivative of `residuals` by each of so many parameters."""
        return np.eye(parameters)[PARAMETERS] / self.sigma[:, None]
