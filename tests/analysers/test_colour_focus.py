"""Which colour focuses nearer, on through-focus series in closed form."""

import numpy as np
import pytest

from lensbench.analysers.colour_focus import measure_colour_focus

RAIL = np.arange(-1.0, 1.05, 0.1)
SCALE = 100 / (1 + RAIL / 100)
PLACES = {"green": 0.0, "red": 0.22, "blue": -0.15}


def series(place, away, noise=0.01, seed=0):
    """MTF50 of a Gaussian blur whose variance grows with the square of the distance from focus."""
    blur = np.sqrt(0.8**2 + (3.0 * (away - place)) ** 2)
    rng = np.random.default_rng(seed)
    return 0.18739 / blur * (1 + noise * rng.standard_normal(len(away)))


def measured(away=RAIL, rail=RAIL, scale=SCALE, seed=0):
    mtf50 = {name: series(place, away, seed=seed + i) for i, (name, place) in enumerate(PLACES.items())}
    return measure_colour_focus(rail, scale, mtf50, {name: 0.01 * values for name, values in mtf50.items()})


def test_colours_are_found_where_they_focus():
    red, blue = measured()
    assert red.channel == "red"
    assert red.focus_mm.value == pytest.approx(0.22, abs=0.01)
    assert red.nearer == "green"
    assert blue.focus_mm.value == pytest.approx(-0.15, abs=0.01)
    assert blue.nearer == "blue"


def test_a_rail_that_counts_towards_the_target():
    # Larger numbers, larger picture: the camera came nearer.
    red, blue = measured(away=RAIL, rail=50 - RAIL)
    assert red.focus_mm.value == pytest.approx(0.22, abs=0.01)
    assert blue.focus_mm.value == pytest.approx(-0.15, abs=0.01)


def test_intervals_hold_the_truth():
    held = []
    for seed in range(60):
        for row in measured(seed=10 * seed):
            truth = PLACES[row.channel]
            held.append(row.focus_mm.low <= truth <= row.focus_mm.high)
    assert 0.88 <= np.mean(held) <= 1.0


def test_colours_in_one_place_are_neither_nearer():
    mtf50 = {name: series(0.0, RAIL, seed=i) for i, name in enumerate(("green", "red"))}
    (red,) = measure_colour_focus(RAIL, SCALE, mtf50, {name: 0.01 * v for name, v in mtf50.items()})
    assert red.nearer == "neither"


def test_a_series_on_one_side_of_the_focus_tells_nothing():
    side = RAIL[RAIL > 0.4]
    mtf50 = {name: series(place, side) for name, place in PLACES.items()}
    sigma = {name: 0.01 * values for name, values in mtf50.items()}
    assert measure_colour_focus(side, 100 / (1 + side / 100), mtf50, sigma) == []
