"""Which aperture is sharpest, by Student's t as the tables print it, and by areas reckoned by hand."""

import numpy as np
import pytest

from lensbench import frame
from lensbench.findings import Figure, Setting, Sharpness, ZoneSharpness
from lensbench.verdicts.aperture import judge_aperture

SIZE = (3000, 2000)


def setting(f_number, centre, corner, setup=1, turn=0.0, half=0.1, without=()):
    """Sharpness that falls from the centre by rings; two of the rings are alike."""
    values = {"centre": centre, "inner": centre, "outer": corner, "corner": corner}
    zones = [
        ZoneSharpness(
            zone, channel, way, Figure.of(value / 100, half / 100, "cy/px"), Figure.of(value, half, "lp/mm"), 4
        )
        for zone in frame.ZONES
        if zone not in without
        for value in [values[zone.split(" ")[0]]]
        for channel in ("red", "green")
        for way in ("sagittal", "mean")
    ]
    return Setting(f_number, lens_turn_deg=turn, setup=setup, sharpness=Sharpness(zones=zones))


def ranked(settings, part="frame"):
    return next(ranking for ranking in judge_aperture(settings, SIZE) if ranking.part == part).ranked


def labels(ranking):
    return [one.label for one in ranking]


def test_zones_count_by_their_areas():
    """A 3 : 2 frame's half-sides are 0.8321 and 0.5547 of its half-diagonal, so that the circle h < 0.55 lies
    within it, and takes π 0.55² of its area (by hand)."""
    inside = np.pi * 0.55**2 / (4 * 0.8321 * 0.5547)
    (one,) = ranked([setting(4.0, 50.0, 20.0)])
    assert one.mean.value == pytest.approx(20 + 30 * inside, abs=0.03)
    assert one.mean.unit == "lp/mm"
    assert one.spread is None
    assert one.equal_to_best


def test_noise_averages_out_but_for_what_all_edges_share():
    """0.05 % is common to all edges (1.96 of it is 0.1 %); twelve zones' own noise shrinks, that does not."""
    noisy, quiet = (ranked([setting(4.0, 40.0, 40.0, half=half)])[0].mean.half_width for half in (4.0, 0.04))
    assert 4.0 / np.sqrt(13) < noisy < 4.0 / np.sqrt(8)
    assert quiet == pytest.approx(0.00098 * 40, rel=0.02)


def test_the_sharpest_stands_first_and_its_equals_are_said():
    found = ranked([setting(2.8, 30, 20), setting(8.0, 40.0, 30.0), setting(5.6, 40.0, 30.05, half=0.2)])
    assert labels(found) == ["f/5.6", "f/8", "f/2.8"]
    assert [one.equal_to_best for one in found] == [True, True, False]
    assert [one.settings for one in found] == [[2], [1], [0]]


def test_the_corners_may_like_another_aperture():
    settings = [setting(5.6, 60.0, 30.0), setting(11.0, 45.0, 33.0)]
    assert labels(ranked(settings)) == labels(ranked(settings, "centre")) == ["f/5.6", "f/11"]
    corners = ranked(settings, "corners")
    assert labels(corners) == ["f/11", "f/5.6"]
    assert not corners[1].equal_to_best


def test_what_is_too_soft_to_be_measured_wins_nothing():
    """Without its two worst corners f/2.8 would have the better mean of what is left."""
    gone = ("corner top-left", "corner top-right")
    settings = [setting(2.8, 41.0, 10.0, without=gone), setting(8.0, 40.0, 10.0)]
    for ranking in judge_aperture(settings, SIZE):
        assert not set(gone) & set(ranking.zones)
    assert labels(ranked(settings)) == ["f/2.8", "f/8"]
    nothing = [setting(2.8, 30, 20, without=frame.ZONES[1:]), setting(8.0, 30, 20, without=frame.ZONES[:9])]
    assert judge_aperture(nothing, SIZE) == []


def test_setups_of_one_aperture_are_one_candidate():
    """30, 31, 32: mean 31, t(0.975, 2) = 4.303 (tables; memory). A turned lens is one more setup."""
    settings = [setting(4.0, v, v, setup, turn) for v, setup, turn in ((30, 1, 0), (32, 2, 0), (31, 1, 90))]
    (one,) = ranked(settings)
    assert one.settings == [1, 2, 0]
    assert one.mean.value == pytest.approx(31)
    assert one.spread.value == pytest.approx(1)
    assert one.mean.half_width == pytest.approx(4.303 / np.sqrt(3), rel=1e-3)


def test_what_a_setup_does_to_both_drops_out():
    """Setups differ by a sixth of the sharpness, but f/8 beats f/4 by 1 in each. Other setups could not tell."""
    paired = [setting(n, v + (n == 8), 20, setup) for setup, v in ((1, 30), (2, 36), (3, 42)) for n in (4, 8)]
    assert [one.equal_to_best for one in ranked(paired, "centre")] == [True, False]
    apart = [setting(4, v, 20, setup) for setup, v in ((1, 30), (2, 36), (3, 42))]
    apart += [setting(8, v + 1, 20, setup) for setup, v in ((4, 30), (5, 36), (6, 42))]
    assert [one.equal_to_best for one in ranked(apart, "centre")] == [True, True]


@pytest.mark.parametrize("shared", [True, False])
def test_equal_apertures_are_seldom_called_different(shared):
    """In one case in twenty, as 95 % says."""
    rng = np.random.default_rng(5 + shared)
    told = []
    for values in rng.normal(40, 2, (300, 2, 3)):
        settings = [
            setting(f, value, value, setup + (0 if shared else 10 * k), without=frame.ZONES[1:])
            for k, f in enumerate((4, 8))
            for setup, value in enumerate(values[k], start=1)
        ]
        told.append(not ranked(settings, "centre")[1].equal_to_best)
    # 300 draws of 0.05: standard deviation 0.0126.
    assert np.mean(told) == pytest.approx(0.05, abs=0.038)


def test_no_sharpness_no_answer():
    assert judge_aperture([Setting(4.0)], SIZE) == [] == judge_aperture([], SIZE)
