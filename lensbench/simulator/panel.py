"""The even light, which is never quite even."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.simulator.lens import Dirt, Pair


@dataclass(frozen=True)
class Panel:
    """The light itself. Lengths are in half-diagonals of the frame, brightness in stops.

    Attributes
    ----------
    shift : (float, float)
        How far the panel was moved in the picture, x right, y down.
    slope : (float, float)
        How much brighter it gets over a half-diagonal to its right (down).
    bulge : float
        How much darker it is a half-diagonal from its middle, growing with the square.
    ripple, ripple_length : float
        Height and length of waves of brightness both ways over the panel.
    fade : float
        How much darker it looks at the corners because it is seen aslant; this stays when the panel moves.
    dirt : tuple of Dirt
        On the panel; moves with it.
    """

    shift: Pair = (0.0, 0.0)
    slope: Pair = (0.0, 0.0)
    bulge: float = 0.0
    ripple: float = 0.0
    ripple_length: float = 1.0
    fade: float = 0.0
    dirt: tuple[Dirt, ...] = ()

    def stops(self, u: NDArray, v: NDArray) -> NDArray[np.float64]:
        """Brightness seen at positions in half-diagonals from the frame's centre, in stops."""
        x, y = u - self.shift[0], v - self.shift[1]
        waves = np.sin(2 * np.pi * x / self.ripple_length) * np.sin(2 * np.pi * (y + 0.3) / self.ripple_length)
        own = self.slope[0] * x + self.slope[1] * y - self.bulge * (x**2 + y**2) + self.ripple * waves
        return own - self.fade * (u**2 + v**2)
