"""The sRGB curve between linear light and coded numbers, both from 0 to 1.

IEC 61966-2-1:1999, Default RGB colour space, sRGB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def srgb_from_light(light: NDArray) -> NDArray:
    """Coded numbers of linear light, 0 to 1, as screens expect them."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def light_from_srgb(coded: NDArray) -> NDArray:
    """Linear light of coded numbers, 0 to 1."""
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
