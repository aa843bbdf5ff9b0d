"""The print's scale, from its two ruler bars."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.target.layout import Layout

UNMEASURED_SIGMA = 0.005
"""Relative standard deviation of a printer's scale (common practice: within 1 %), for bars that were not
measured."""

READING_SIGMA_MM = 0.1
"""Standard deviation of a ruler bar's length read by hand with a good steel rule (95 %: ± 0.2 mm; common
practice)."""


@dataclass(frozen=True, eq=False)
class Rulers:
    """The print's scale across and up.

    Attributes
    ----------
    factor : ndarray, shape (2,)
        Printed over designed size.
    sigma : ndarray, shape (2,)
        Relative standard deviation of `factor`.
    """

    factor: NDArray[np.float64]
    sigma: NDArray[np.float64]

    @classmethod
    def measured(cls, layout: Layout, measured_mm: tuple[float, float] | None) -> Rulers:
        """From the two ruler bars as measured by hand; without them the print's scale is taken as designed."""
        designed = np.asarray(layout.rulers_mm, float)
        if measured_mm is None:
            return cls(np.ones(2), np.full(2, UNMEASURED_SIGMA))
        return cls(np.asarray(measured_mm, float) / designed, READING_SIGMA_MM / designed)
