"""Figures as text, with as many digits as their interval allows, and small parts of sentences.

The half-width of the interval keeps one significant digit, two where it begins with a 1, and the value has as many
decimals as it: 0.3124 with an interval of ± 0.0037 is printed ``0.312 ± 0.004``.
"""

from __future__ import annotations

import math
import os
import shlex
import subprocess
from collections.abc import Sequence
from pathlib import Path

from lensbench.figure import Figure

NOT_MEASURED = "–"
"""What stands in a table where there is no figure."""

_EXACT_DIGITS = 4
"""Significant digits of a figure without an interval."""

_MOST_DECIMALS = {"stops": 3, "px": 3, "%": 3, "°": 2, "×": 4, "mm": 3}
"""Decimals beyond which nobody can see or use a figure, however well a shot's noise lets it be known."""

_ASYMMETRIC = 1.5
"""An interval that reaches this many times as far to one side is given by its ends (chosen by eye)."""


def decimals_for(half_width: float) -> int:
    """How many decimals (negative for tens, hundreds) a half-width, and so its value, is rounded to.

    Parameters
    ----------
    half_width : float
        Half of an interval's width, more than 0.

    Returns
    -------
    int
        1 for tenths, 0 for units, -1 for tens.
    """
    exponent = math.floor(math.log10(half_width))
    leading = round(half_width / 10.0**exponent, 1)
    # 0.096 rounds to 0.10, one decimal fewer than its own first digit asks for.
    if leading >= 9.5:
        exponent, leading = exponent + 1, 1.0
    return -exponent + (1 if leading < 2 else 0)


def number(value: float, decimals: int, signed: bool = False) -> str:
    """A number rounded to so many decimals (-1 for tens), with a true minus sign and never ``-0``."""
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):.{max(decimals, 0)}f}"
    if rounded < 0:
        return f"−{text}"
    return f"+{text}" if signed and rounded > 0 else text


def spread(value: float) -> str:
    """A half-width, a standard deviation or the like, rounded as that of an interval is."""
    return number(value, decimals_for(value)) if value > 0 else "0"


def limit(value: float) -> str:
    """A calculated limit, such as how far two figures must differ: two significant digits."""
    return number(value, 1 - math.floor(math.log10(value))) if value > 0 else "0"


def bare(figure: Figure | None, signed: bool = False) -> str:
    """A figure's value alone, rounded to its interval."""
    if figure is None:
        return NOT_MEASURED
    return number(figure.value, decimals_of(figure), signed)


def brief(figure: Figure | None, digits: int = 2, signed: bool = False) -> str:
    """A figure's value for a map: as `bare`, and with no more than a few significant digits."""
    if figure is None:
        return NOT_MEASURED
    if figure.value == 0:
        return bare(figure)
    fewest = digits - 1 - math.floor(math.log10(abs(figure.value)))
    return number(figure.value, min(decimals_of(figure), fewest), signed)


def with_interval(figure: Figure | None, unit: bool = True, signed: bool = False) -> str:
    """A figure with its 95 % interval, such as ``0.312 ± 0.004 cy/px``.

    An interval that reaches much farther to one side is given by its ends: ``0.10 (0.09 to 0.14) cy/px``.
    """
    if figure is None:
        return NOT_MEASURED
    digits = decimals_of(figure)
    below, above = figure.value - figure.low, figure.high - figure.value
    text = number(figure.value, digits, signed)
    if max(below, above) > _ASYMMETRIC * max(min(below, above), 0.0) and max(below, above) > 0:
        text += f" ({number(figure.low, digits)} to {number(figure.high, digits)})"
    elif figure.half_width > 0:
        text += f" ± {number(max(figure.half_width, 10.0**-digits), digits)}"
    return f"{text} {figure.unit}" if unit and figure.unit else text


def holds(figure: Figure, value: float) -> bool:
    """Whether a figure's interval holds a value, as it is printed where that is coarser."""
    printed = 10.0 ** -decimals_of(figure)
    coarser = 0 < figure.half_width < printed and abs(value - figure.value) <= printed
    return coarser or figure.low <= value <= figure.high


def magnitude(figure: Figure) -> Figure:
    """A figure without its sign."""
    if figure.value >= 0:
        return figure
    return Figure(-figure.value, -figure.high, -figure.low, figure.unit)


def decimals_of(figure: Figure) -> int:
    """How many decimals a figure is rounded to."""
    if figure.half_width > 0:
        return min(decimals_for(figure.half_width), _MOST_DECIMALS.get(figure.unit, 99))
    # A count is whole.
    if figure.value == 0 or (not figure.unit and figure.value == round(figure.value)):
        return 0
    return _EXACT_DIGITS - 1 - math.floor(math.log10(abs(figure.value)))


# -- parts of sentences ---------------------------------------------------------------------------------------


def listed(words: Sequence[str]) -> str:
    """Words as a sentence lists them: ``a``, ``a and b``, ``a, b and c``; at least one."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def unbroken(text: str) -> str:
    """Text that no line's end breaks: its spaces are no-break ones."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def first_capital(text: str) -> str:
    """A sentence's beginning: only its first letter is changed."""
    return text[:1].upper() + text[1:]


def aperture_name(f_number: float | None, aperture: str | None) -> str:
    """An aperture as the user calls it: ``f/5.6``, ``third click``."""
    return f"f/{f_number:g}" if f_number is not None else aperture or "aperture not given"


def as_argument(path: Path) -> str:
    """A path as it is typed after a command, in quotes where it has blanks in it."""
    return subprocess.list2cmdline([str(path)]) if os.name == "nt" else shlex.quote(str(path))


def printable(text: str) -> str:
    """Text with what a terminal would obey or can't show written out: names of files may hold anything."""
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or c in "\n\N{NO-BREAK SPACE}" else c.encode("unicode_escape").decode() for c in text
    )


def name_of_folder(folder: Path) -> str:
    """A folder's own name, wherever a link or a dot leads, as it can be shown."""
    return printable(os.path.basename(os.path.realpath(folder)))
