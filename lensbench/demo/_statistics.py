"""A figure beside the truth, and statistics over all figures of a kind beside their allowed error."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, Figure
from lensbench.formatting import holds

SHOWN_ZONES = ("centre", "corner top-left", "corner top-right", "corner bottom-right", "corner bottom-left")
"""The zones in the table of figures beside the truth; the statistics are over all."""


@dataclass(frozen=True)
class Beside:
    """One measured figure beside the truth."""

    setting: str
    what: str
    measured: Figure
    true: float

    @property
    def within(self) -> bool:
        """Whether the truth lies in the figure's interval, as printed."""
        return holds(self.measured, self.true)


@dataclass(frozen=True)
class Statistic:
    """How well all figures of a kind agree with the truth, and the least and the most that is allowed."""

    setting: str
    what: str
    found: float
    least: float
    most: float
    unit: str

    @property
    def within(self) -> bool:
        """Whether it is within what is allowed."""
        return self.least <= self.found <= self.most


def spread(off: NDArray) -> float:
    """The standard deviation, from the middle two thirds: a lone odd edge is no spread."""
    low, high = np.percentile(off, (15.87, 84.13))
    return float(high - low) / 2


def allowed_coverage(count: int) -> tuple[float, float]:
    """How often, in percent, 95 % intervals may hold the truth: 93 to 97, wider where so few edges can't tell."""
    chance = 100 * NORMAL_95 * math.sqrt(0.95 * 0.05 / count)
    return 95 - max(2.0, 2 * chance), min(95 + max(2.0, 2 * chance), 100.0)
