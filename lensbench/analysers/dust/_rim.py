"""How the shadow of a mark fades from its middle outward, round or along a fibre."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def fade(radius: NDArray, steepness: float | NDArray) -> NDArray[np.float64]:
    """Share of a shadow's depth that is left: exp(−ln 2 · radius^steepness), the radius being 1 at half depth."""
    return np.exp(-np.log(2) * np.minimum(radius**steepness, 60.0))


def faded_at(steepness: float) -> float:
    """The radius at which no more than 0.1 % is left."""
    return 10 ** (1 / steepness)
