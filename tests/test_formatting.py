"""Digits as the interval allows.

The rule of one significant digit in the uncertainty, two where it begins with a 1, and the value rounded to the
same decimal is common practice (as in Taylor, An Introduction to Error Analysis, 2nd ed., section 2.2; `memory`).
"""

import pytest

from lensbench.findings import Figure
from lensbench.formatting import (
    bare,
    decimals_for,
    holds,
    limit,
    number,
    printable,
    spread,
    unbroken,
    with_interval,
)


@pytest.mark.parametrize(
    ("value", "half", "text"),
    [
        # Taylor's own examples: g = 9.82 ± 0.02 m/s²; a speed of 6050 ± 30 m/s; a leading 1 keeps two digits.
        (9.82, 0.02385, "9.82 ± 0.02"),
        (6051.78, 30.0, "6050 ± 30"),
        (0.31249, 0.00371, "0.312 ± 0.004"),
        (0.31249, 0.00014, "0.31249 ± 0.00014"),
        (1.0034, 0.096, "1.00 ± 0.10"),
        (1.0034, 0.0199, "1.00 ± 0.02"),
        (52.34, 9.7, "52 ± 10"),
        (1234.0, 230.0, "1200 ± 200"),
        (-0.0004, 0.003, "0.000 ± 0.003"),
        (-0.74, 0.03, "−0.74 ± 0.03"),
    ],
)
def test_value_stops_where_its_interval_does(value, half, text):
    figure = Figure.of(value, half, "")
    assert with_interval(figure) == text
    assert bare(figure) == text.split(" ")[0]


def test_units_and_signs():
    assert with_interval(Figure.of(0.74, 0.03, "px"), signed=True) == "+0.74 ± 0.03 px"
    assert with_interval(Figure.of(0.74, 0.03, "px"), unit=False) == "0.74 ± 0.03"
    assert bare(Figure.of(0.0, 0.03, "px"), signed=True) == "0.00"


def test_an_asymmetric_interval_is_given_by_its_ends():
    assert with_interval(Figure(0.10, 0.09, 0.14, "cy/px")) == "0.10 (0.09 to 0.14) cy/px"


def test_an_exact_figure_has_no_interval_and_a_missing_one_a_dash():
    assert with_interval(Figure.of(12.5, 0.0, "mm")) == "12.50 mm"
    assert with_interval(Figure.of(0.0, 0.0, "mm")) == "0 mm"
    assert bare(None) == with_interval(None) == "–"


@pytest.mark.parametrize(
    ("half", "place"), [(1.0, 1), (2.0, 0), (20.0, -1), (0.095, 2), (0.0949, 2), (0.96, 1), (9.4, 0)]
)
def test_decimals_of_a_half_width(half, place):
    assert decimals_for(half) == place


def test_numbers_never_show_minus_zero():
    assert number(-0.0001, 2) == "0.00"


# As the interval's own rule above: one digit, two where the first is a 1; a limit keeps two.
@pytest.mark.parametrize(
    ("value", "as_spread", "as_limit"),
    [(0.83, "0.8", "0.83"), (0.137, "0.14", "0.14"), (63.4, "60", "63"), (3.512, "4", "3.5"), (0.0, "0", "0")],
)
def test_spreads_are_rounded_as_intervals_are(value, as_spread, as_limit):
    assert (spread(value), limit(value)) == (as_spread, as_limit)


def test_an_interval_holds_what_it_holds_as_printed():
    fine = Figure(0.34085, 0.34070, 0.34100, "stops")
    assert with_interval(fine) == "0.341 ± 0.001 stops"
    assert holds(fine, 0.3402)
    assert not holds(fine, 0.3395)
    coarse = Figure(0.232, 0.2295, 0.2345, "cy/px")
    assert holds(coarse, 0.2344)
    assert not holds(coarse, 0.2346)


def test_counts_are_whole():
    assert with_interval(Figure.of(5.0, 0.0, "")) == "5"
    assert with_interval(Figure.of(5.0, 0.0, "mm")) == "5.000 mm"


def test_no_break_spaces_are_printed_as_they_are():
    assert printable(unbroken("30 × 20 cm")) == "30\N{NO-BREAK SPACE}×\N{NO-BREAK SPACE}20\N{NO-BREAK SPACE}cm"
