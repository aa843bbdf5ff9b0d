"""Setups held against one another, by Student's t and chi squared as the tables print them."""

import numpy as np
import pytest

from lensbench.findings import (
    Falloff,
    FalloffGrid,
    Figure,
    Focus,
    FocusZone,
    Fringing,
    Setting,
    Sharpness,
    ZoneFalloff,
    ZoneFringing,
    ZoneSharpness,
)
from lensbench.verdicts.repeats import judge_repeats, of_repeats
from tests.findings.alter import alter


def figures(*values, half=0.1, unit="lp/mm"):
    return [Figure.of(value, half, unit) for value in values]


def setting(setup, sharp, f_number=2.8, red=0.0, stops=0.0):
    def zone(name, channel, direction, value):
        return ZoneSharpness(name, channel, direction, *figures(value / 100, unit="cy/px"), *figures(value), 4)

    rows = [zone("centre", "green", way, sharp) for way in ("sagittal", "tangential", "mean")]
    rows += [zone("centre", "red", "mean", 9.0)]
    return Setting(
        f_number,
        setup=setup,
        sharpness=Sharpness(zones=rows),
        fringing=Fringing(zones=[ZoneFringing("centre", "red", *figures(red, 0.0, unit="px"))]),
        falloff=Falloff(
            [ZoneFalloff("centre", *figures(stops, unit="stops"))], FalloffGrid([], [], []), None, True
        ),
    )


def test_intervals_by_the_tables():
    """t(0.975) is 4.303 with 2 and 2.776 with 4 degrees of freedom; the standard deviation of five lies within
    0.599 and 2.874 times its estimate (tables of Student's t and chi squared; memory)."""
    three = of_repeats("sharpness", "centre", "green", figures(30, 31, 32))
    assert three.mean.value == 31
    assert three.spread.value == 1
    assert three.mean.half_width == pytest.approx(4.303 / np.sqrt(3), rel=1e-3)
    assert three.smallest_difference == pytest.approx(4.303 * np.sqrt(2 / 3), rel=1e-3)
    assert three.shot_half_width == pytest.approx(0.1)
    five = of_repeats("sharpness", "centre", "green", figures(-2, -1, 0, 1, 2))
    deviation = np.sqrt(2.5)
    assert five.spread.low == pytest.approx(0.599 * deviation, rel=1e-3)
    assert five.spread.high == pytest.approx(2.874 * deviation, rel=1e-3)
    assert five.mean.half_width == pytest.approx(2.776 * deviation / np.sqrt(5), rel=1e-3)


def test_two_setups_know_next_to_nothing():
    """t(0.975) with one degree of freedom is 12.706, and the true spread may be 32 times the one seen (memory)."""
    two = of_repeats("falloff", "centre", "", figures(1.0, 1.1))
    assert two.smallest_difference == pytest.approx(12.706 * two.spread.value, rel=1e-3)
    assert two.spread.high == pytest.approx(31.9 * two.spread.value, rel=0.01)


def test_setups_alike_by_chance_still_have_their_shots_noise():
    """Two shots of ± 0.1 whose figures happen to agree: a mean of ± 0.1 / √2, a difference of means of ± 0.1."""
    two = of_repeats("falloff", "centre", "", figures(1.0, 1.0 + 1e-6))
    assert two.mean.half_width == pytest.approx(0.1 / np.sqrt(2))
    assert two.smallest_difference == pytest.approx(0.1)
    assert two.spread.value < 1e-6


@pytest.mark.parametrize("setups", [2, 3, 5])
def test_intervals_hold_the_truth(setups):
    """And builds that don't differ are called different 5 % of the time."""
    rng = np.random.default_rng(setups)
    held, apart = [], []
    for values, others in rng.normal(40, 2, (1500, 2, setups)):
        first, second = (of_repeats("sharpness", "centre", "green", figures(*v)) for v in (values, others))
        held.append((first.mean.low <= 40 <= first.mean.high, first.spread.low <= 2 <= first.spread.high))
        apart.append(abs(first.mean.value - second.mean.value) > first.smallest_difference)
    assert np.mean(held, axis=0) == pytest.approx([0.95, 0.95], abs=0.02)
    assert np.mean(apart) == pytest.approx(0.05, abs=0.017)


def test_setups_of_one_aperture_are_repeats():
    settings = [setting(1, 30.0, red=0.2), setting(2, 32.0, red=0.4, stops=0.1), setting(1, 50.0, f_number=8)]
    (repeats,) = judge_repeats(settings)
    assert (repeats.f_number, repeats.setups) == (2.8, [1, 2])
    values = {(row.what, row.channel): row.mean for row in repeats.figures}
    assert set(values) == {("sharpness", "green"), ("fringing", "red"), ("falloff", "")}
    assert values["sharpness", "green"].value == 31
    assert values["sharpness", "green"].unit == "lp/mm"
    assert values["fringing", "red"].value == pytest.approx(0.3)
    assert values["falloff", ""].value == pytest.approx(0.05)
    assert judge_repeats(settings[1:]) == []
    turned = [settings[0], Setting(2.8, lens_turn_deg=90, setup=2, sharpness=settings[1].sharpness)]
    assert judge_repeats(turned) == []


def test_a_series_speaks_by_its_best_focus():
    """Where a setup is a rail series, the error of focusing is out of its figure."""
    series = []
    for number, value in enumerate((30.0, 31.0), start=1):
        one = setting(number, 10.0 * number)
        row = FocusZone(
            "centre", "green", "mean", None, None, *figures(value / 100, unit="cy/px"), None, *figures(value), 4, 4
        )
        alter(
            one,
            focus=Focus(
                ["a.dng"], [0.0], *figures(0.0, unit="mm"), "farther", *figures(0.1, unit="mm"), "a.dng", 0.0, 0.0
            ),
        )
        alter(one.focus, zones=[row])
        series.append(one)
    (repeats,) = judge_repeats(series)
    assert repeats.figures[0].mean.value == 30.5
