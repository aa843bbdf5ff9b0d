"""Two circles: the area that they share."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def common_area(first: float, second: float, distance: ArrayLike) -> NDArray[np.float64]:
    """Area that circles of the radii `first` and `second` share, their centres `distance` apart."""
    d = np.clip(distance, abs(first - second) + 1e-12, first + second)
    a = np.arccos(np.clip((d**2 + first**2 - second**2) / (2 * d * first), -1, 1))
    b = np.arccos(np.clip((d**2 + second**2 - first**2) / (2 * d * second), -1, 1))
    return first**2 * (a - np.sin(2 * a) / 2) + second**2 * (b - np.sin(2 * b) / 2)
