"""Which colour focuses nearer, on through-focus series in closed form."""

import pytest

from lensbench.analysers.focus import measure_focus
from tests.analysers.focus.invented_focus import RAIL, SIZE, Surface, assert_intervals_hold, series

PLACES = {"green": 0.0, "red": 0.22, "blue": -0.15}


def measured(places=PLACES, seed=0, **how):
    shots = series(Surface(0.05, bow=(-0.1, -0.2), colours=tuple(places.items())), seed=seed, **how)
    return {row.channel: row for row in measure_focus(shots, SIZE).colours}


def test_colours_are_found_where_they_focus():
    found = measured()
    assert found["red"].focus_mm.value == pytest.approx(0.22, abs=0.01)
    assert found["red"].nearer == "green"
    assert found["blue"].focus_mm.value == pytest.approx(-0.15, abs=0.01)
    assert found["blue"].nearer == "blue"


def test_a_rail_that_counts_towards_the_target():
    # Larger numbers, larger picture: the camera came nearer.
    found = measured(reading=50 - RAIL)
    assert found["red"].focus_mm.value == pytest.approx(0.22, abs=0.01)
    assert found["blue"].focus_mm.value == pytest.approx(-0.15, abs=0.01)


def test_intervals_hold_the_truth():
    rows = [row for seed in range(15) for row in measured(seed=10 * seed, noise=0.03).values()]
    error = [row.focus_mm.value - PLACES[row.channel] for row in rows]
    assert len(rows) == 30
    assert_intervals_hold(error, [row.focus_mm.half_width for row in rows])


def test_colours_in_one_place_are_neither_nearer():
    assert measured({"green": 0.0, "red": 0.0})["red"].nearer == "neither"


def test_a_colour_that_focuses_outside_the_series_has_no_figure():
    assert set(measured({"green": 0.0, "red": 1.5, "blue": 0.1})) == {"blue"}
    assert measured({"grey": 0.0}) == {}
