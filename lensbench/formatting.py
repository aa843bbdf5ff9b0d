"""Figures as text, with as many digits as their interval allows.

The half width of the interval keeps one significant digit, two where it begins with a 1, and the value stops at
the same place: 0.3124 with an interval of ± 0.0037 is printed ``0.312 ± 0.004``.
"""

from __future__ import annotations

import math

from lensbench.figure import Figure

NOT_MEASURED = "–"
"""What stands in a table where there is no figure."""

_EXACT_DIGITS = 4
_FINEST = {"stops": 3}
"""Decimal places beyond which nobody can see or use a figure, however well a shot's noise lets it be known."""

_LOPSIDED = 1.5


def last_place(half_width: float) -> int:
    """The decimal place (1 for tenths, -1 for tens) at which a half width, and so its value, is rounded.

    Parameters
    ----------
    half_width : float
        Half of an interval's width, more than 0.
    """
    exponent = math.floor(math.log10(half_width))
    leading = round(half_width / 10.0**exponent, 1)
    # 0.096 rounds to 0.10, one place earlier than its own first digit says.
    if leading >= 9.5:
        exponent, leading = exponent + 1, 1.0
    return -exponent + (1 if leading < 2 else 0)


def number(value: float, places: int, signed: bool = False) -> str:
    """A number rounded at a decimal place, with a true minus sign and never ``-0``."""
    rounded = round(value, places) + 0.0
    text = f"{abs(rounded):.{max(places, 0)}f}"
    if rounded < 0:
        return f"−{text}"
    return f"+{text}" if signed and rounded > 0 else text


def spread(value: float) -> str:
    """A half width, a standard deviation or the like, rounded as that of an interval is."""
    return number(value, last_place(value)) if value > 0 else "0"


def limit(value: float) -> str:
    """A limit that was reckoned, such as how far two figures must differ: two significant digits."""
    return number(value, 1 - math.floor(math.log10(value))) if value > 0 else "0"


def bare(figure: Figure | None, signed: bool = False) -> str:
    """A figure's value alone, rounded to its interval."""
    if figure is None:
        return NOT_MEASURED
    return number(figure.value, places_of(figure), signed)


def brief(figure: Figure | None, digits: int = 2, signed: bool = False) -> str:
    """A figure's value for a map: as `bare`, and with no more than a few significant digits."""
    if figure is None:
        return NOT_MEASURED
    if figure.value == 0:
        return bare(figure)
    fewest = digits - 1 - math.floor(math.log10(abs(figure.value)))
    return number(figure.value, min(places_of(figure), fewest), signed)


def with_interval(figure: Figure | None, unit: bool = True, signed: bool = False) -> str:
    """A figure with its 95 % interval, such as ``0.312 ± 0.004 cy/px``.

    An interval that reaches much farther to one side is given by its ends: ``0.10 (0.09 to 0.14) cy/px``.
    """
    if figure is None:
        return NOT_MEASURED
    places = places_of(figure)
    below, above = figure.value - figure.low, figure.high - figure.value
    text = number(figure.value, places, signed)
    if max(below, above) > _LOPSIDED * max(min(below, above), 0.0) and max(below, above) > 0:
        text += f" ({number(figure.low, places)} to {number(figure.high, places)})"
    elif figure.half_width > 0:
        text += f" ± {number(max(figure.half_width, 10.0**-places), places)}"
    return f"{text} {figure.unit}" if unit and figure.unit else text


def holds(figure: Figure, value: float) -> bool:
    """Whether a figure's interval holds a value, as it is printed where that is coarser."""
    printed = 10.0 ** -places_of(figure)
    coarser = 0 < figure.half_width < printed and abs(value - figure.value) <= printed
    return coarser or figure.low <= value <= figure.high


def magnitude(figure: Figure) -> Figure:
    """A figure without its sign."""
    if figure.value >= 0:
        return figure
    return Figure(-figure.value, -figure.high, -figure.low, figure.unit)


def places_of(figure: Figure) -> int:
    """The decimal place at which a figure is rounded."""
    if figure.half_width > 0:
        return min(last_place(figure.half_width), _FINEST.get(figure.unit, 99))
    if figure.value == 0:
        return 0
    return _EXACT_DIGITS - 1 - math.floor(math.log10(abs(figure.value)))
