"""What is asked of any figure, and round numbers for the ends of scales."""

from __future__ import annotations

import math

from lensbench.findings import Figure

_STEPS = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)


def beyond_chance(figure: Figure | None) -> bool:
    """Whether a figure was measured and its interval does not hold zero."""
    return figure is not None and not figure.low <= 0 <= figure.high


def if_beyond_chance(figure: Figure | None) -> Figure | None:
    """The figure where its interval does not hold zero, else None."""
    return figure if beyond_chance(figure) else None


def nice_ceiling(value: float) -> float:
    """The next of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten at or above a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in _STEPS if step * power >= value * 0.9999)


def nice_floor(value: float) -> float:
    """The last of the same numbers at or below a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in reversed(_STEPS) if step * power <= value * 1.0001)
