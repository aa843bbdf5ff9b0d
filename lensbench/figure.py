"""A measured value with its interval, a position, and a notice: what all findings are made of."""

from __future__ import annotations

from math import isfinite

import msgspec

NORMAL_95 = 1.96
"""Half-width of a 95 % interval in standard deviations, where the noise is normal."""

POSITION_KNOWN = 0.05
"""Half of the interval, over the frame's half-diagonal, up to which a centre is given (our own choice)."""


class Figure(msgspec.Struct, frozen=True):
    """A measured value and the 95 % interval of that shot's own noise, low to high."""

    value: float
    low: float
    high: float
    unit: str

    @classmethod
    def of(cls, value: float, half_width: float, unit: str) -> Figure:
        """A figure whose interval reaches `half_width` to both sides."""
        value, half_width = float(value), abs(float(half_width))
        return cls(value, value - half_width, value + half_width, unit)

    @classmethod
    def if_known(cls, value: float, sigma: float, unit: str) -> Figure | None:
        """A figure whose noise is normal, with its standard deviation; None where either is not finite."""
        return cls.of(value, NORMAL_95 * sigma, unit) if isfinite(value) and isfinite(sigma) else None

    @property
    def half_width(self) -> float:
        """Half of the interval's width."""
        return (self.high - self.low) / 2

    def scaled(self, factor: float, unit: str) -> Figure:
        """The figure in another unit, which is this one over a positive factor."""
        return Figure(self.value * factor, self.low * factor, self.high * factor, unit)


class Position(msgspec.Struct, frozen=True):
    """A measured position in pixels."""

    x: Figure
    y: Figure

    @classmethod
    def if_known(cls, x: Figure, y: Figure, half_diagonal: float) -> Position | None:
        """A position in a frame; None where it is no better known than `POSITION_KNOWN` of the half-diagonal."""
        known = max(x.half_width, y.half_width) <= POSITION_KNOWN * half_diagonal
        return cls(x, y) if known else None


class Notice(msgspec.Struct, frozen=True):
    """Something that the user should know: a short code, the shot's file name (or None), and a sentence."""

    code: str
    shot: str | None
    text: str
