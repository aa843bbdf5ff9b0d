"""Measured beside true as tables of text."""

from __future__ import annotations

from collections.abc import Sequence

from lensbench.demo._statistics import Beside, Statistic
from lensbench.formatting import decimals_of, number, with_interval


def beside_table(beside: Sequence[Beside]) -> tuple[list[str], list[list[str]]]:
    """Headings and rows of figures beside the truth; the truth with one digit more than its figure."""
    head = ["", "figure", "measured", "true", "in its interval"]
    return head, [
        [
            entry.setting,
            entry.what,
            with_interval(entry.measured),
            number(entry.true, decimals_of(entry.measured) + 1),
            "yes" if entry.within else "no",
        ]
        for entry in beside
    ]


def statistics_table(statistics: Sequence[Statistic]) -> tuple[list[str], list[list[str]]]:
    """Headings and rows of the statistics over all figures of a kind, beside their allowed errors."""
    head = ["", "over all", "found", "allowed", "within"]
    return head, [
        [one.setting, one.what, _with_unit(one.found, one.unit), _allowed(one), "yes" if one.within else "NO"]
        for one in statistics
    ]


def _allowed(one: Statistic) -> str:
    if one.least == one.most:
        return _with_unit(one.most, one.unit)
    if one.least == -one.most:
        return f"± {_with_unit(one.most, one.unit)}"
    if one.least == 0:
        return f"≤ {_with_unit(one.most, one.unit)}"
    return f"{one.least:.0f} to {_with_unit(one.most, one.unit)}"


def _with_unit(value: float, unit: str) -> str:
    return f"{number(value, 0 if not unit or abs(value) > 20 else 2 if unit == '%' else 4)} {unit}".strip()
