"""Builds compared: how often chance passes for a change, and what is never compared at all."""

import msgspec
import numpy as np
import pytest
from scipy import stats

from lensbench.figure import Figure
from lensbench.findings import Geometry
from lensbench.verdicts.comparison import compare_builds
from tests.findings.alter import alter
from tests.verdicts.comparison.drawn_builds import drawn_report

PAIRS = 300


def only_change(before, after):
    (change,) = compare_builds([before, after]).changes
    return change


def headline(change, what, part="frame", channel=""):
    (found,) = [
        one for one in change.apertures[0].headlines if (one.what, one.part, one.channel) == (what, part, channel)
    ]
    return found


@pytest.mark.parametrize("setups", [(2, 2), (3, 3), (2, 5)])
def test_setups_of_one_build_seldom_pass_for_a_change(setups):
    """Any difference, over all zones and figures together, in at most 5 of 100 pairs of the same build."""
    generator = np.random.default_rng([71, *setups])
    called = 0
    for _ in range(PAIRS):
        change = only_change(*(drawn_report(generator, count) for count in setups))
        everything = [one for part in change.apertures for one in (*part.headlines, *part.zones)]
        called += any(one.counts for one in everything)
        assert change.answer in ("no difference", "better", "worse", "mixed")
    # A count that a true rate of 5 % passes once in a thousand studies (binomial).
    assert called <= stats.binom.ppf(0.999, PAIRS, 0.05)


@pytest.mark.parametrize("setups", [2, 3, 5])
def test_a_change_of_three_times_the_smallest_that_counts_is_called(setups):
    """In at least 80 of 100, the smallest reckoned from the true spread of setups."""
    generator = np.random.default_rng([72, setups])
    same = only_change(drawn_report(generator, setups), drawn_report(generator, setups))
    family = sum(len(part.headlines) for part in same.apertures)
    # Of the centre: 3 % common, 1 % of its own, 0.3 % noise.
    sigma = np.sqrt(3.0**2 + 1.0**2 + 0.3**2) / 100
    smallest = stats.t.ppf(1 - 0.05 / (2 * family), 2 * setups - 2) * sigma * np.sqrt(2 / setups)
    called = 0
    for _ in range(100):
        before, after = (drawn_report(generator, setups, sharper=times) for times in (1.0, np.exp(3 * smallest)))
        called += headline(only_change(before, after), "sharpness", "centre").counts
    assert called >= 80


def test_with_one_setup_each_nothing_counts_and_the_difference_is_said():
    generator = np.random.default_rng(73)
    change = only_change(drawn_report(generator, 1), drawn_report(generator, 1, sharper=1.5))
    assert change.answer == "can't tell"
    found = headline(change, "sharpness", "centre")
    assert found.difference.value == pytest.approx(30, rel=0.3)
    assert found.smallest_difference is None
    assert not found.counts
    assert not found.setups_known


def test_repeats_of_one_build_alone_judge_both():
    """Student's t with the spread of three setups and one new one: s √(1 + 1/3), two degrees of freedom."""
    generator = np.random.default_rng(74)
    change = only_change(drawn_report(generator, 3), drawn_report(generator, 1))
    assert headline(change, "sharpness", "centre").smallest_difference is not None
    assert change.apertures[0].setups == (3, 1)


def test_a_clear_change_is_better_in_words_and_by_zone():
    generator = np.random.default_rng(75)
    change = only_change(drawn_report(generator, 4), drawn_report(generator, 4, sharper=1.8))
    assert change.answer == "better"
    assert headline(change, "sharpness", "frame").better
    zones = [one for one in change.apertures[0].zones if one.what == "sharpness"]
    assert sum(one.counts for one in zones) > 8
    assert not any(one.counts for one in change.apertures[0].zones if one.what == "falloff")


def test_how_many_setups_would_settle_it():
    generator = np.random.default_rng(76)
    change = only_change(drawn_report(generator, 2), drawn_report(generator, 2, sharper=1.12))
    needed = change.apertures[0].needed
    assert needed is None or 2 < needed <= 30


def test_builds_come_in_order_of_their_dates():
    generator = np.random.default_rng(77)
    dates = ("2024-05-03", "2024-04-01", "2024-06-09")
    found = compare_builds([drawn_report(generator, 1, date=date) for date in dates])
    assert [build.date for build in found.builds] == sorted(dates)
    assert [(change.before.date, change.after.date) for change in found.changes] == [
        ("2024-04-01", "2024-05-03"),
        ("2024-05-03", "2024-06-09"),
    ]


def test_unlike_conditions_are_refused_or_named():
    generator = np.random.default_rng(78)
    before, after = drawn_report(generator, 2), drawn_report(generator, 2)
    other = msgspec.structs.replace(after, camera=msgspec.structs.replace(after.camera, size_px=(4000, 3000)))
    change = only_change(before, other)
    assert change.answer == "can't tell"
    assert "6000 × 4000 pixels against 4000 × 3000" in change.unlike[0]
    for scale, said in ((1.05, "differ by 5.0 %"), (1.5, "differ by 50 %")):
        alter(before, geometry=Geometry(Figure.of(0.10, 1e-4, "×")))
        alter(after, geometry=Geometry(Figure.of(0.10 * scale, 1e-4, "×")))
        change = only_change(before, after)
        assert said in change.unlike[0]
        assert bool(change.apertures) == (scale < 1.1)
    change = only_change(before, drawn_report(generator, 2, apertures=(11.0,)))
    assert "No aperture was measured with both builds" in change.unlike[0]
