"""The radial profile of a mark's shadow, also across a fibre: a generalised Gaussian."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def relative_depth(radius: ArrayLike, steepness: ArrayLike) -> NDArray[np.float64]:
    """Depth over that at the centre, exp(−ln 2 · radius^steepness); the radius is 1 at half depth."""
    power = np.asarray(radius, float) ** steepness
    return np.exp(-np.log(2) * np.minimum(power, 60.0))


def cutoff_radius(steepness: float) -> float:
    """The radius beyond which the relative depth is below 0.1 %."""
    return 10 ** (1 / steepness)
