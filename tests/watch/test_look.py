"""One look at a shot, against the truth of the simulated bench and against the whole measurement."""

import re

import numpy as np
import pytest
from msgspec import structs

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.shot_quality import measure_exposure
from lensbench.frame import h_of
from lensbench.loaders import read_shot
from lensbench.target import find_tiles, read_layout
from lensbench.watch import SPOTS, History, bench_of, look_at
from lensbench.watch._words import exposure_in_words, figure_rows
from tests.invented_shots import BAYER, RGBG, shot_of
from tests.watch.bench_shots import TILT_DEG


def codes(look):
    return [problem.code for problem in look.problems]


def test_a_good_shot_is_good_to_go_on_with(seen):
    look = seen["good"].look
    assert look.good, look.problems
    assert look.shows == "target"
    assert look.f_number == 5.6
    assert look.covered_percent > 99
    assert look.softest_corner_percent > 85
    assert [spot.name for spot in look.spots] == list(SPOTS)


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("leaning", "leaning"),
        ("clipped", "clipped"),
        ("dark", "dark"),
        ("soft", "blurred"),
        ("shifted", "partly-covered"),
        ("shaken", "motion"),
    ],
)
def test_a_bad_shot_says_what_is_wrong_and_what_to_do(seen, name, code):
    look = seen[name].look
    assert code in codes(look)
    assert not look.good
    text = next(problem.text for problem in look.problems if problem.code == code)
    assert text.count(".") >= 2, text


def test_the_figures_are_those_of_the_whole_measurement(bench_folder, seen):
    """Edges of the middle, all of them, by the analyser that `measure` uses."""
    shot = read_shot(bench_folder / "good.dng")
    found = find_tiles(shot, read_layout(bench_folder / "target.json"))
    green = measure_edges(shot, tile_edges(found), ["green"])["green"]
    middle = green.measured & (h_of(green.x, green.y, shot.size) < 0.3)
    figure = seen["good"].look.mtf50("centre")
    assert figure.value == pytest.approx(np.mean(green.mtf50[middle]), rel=0.03)


def test_the_sheet_s_lean_is_that_of_the_scene(seen):
    """Signs by the scene's own words: right side farther, upper side farther; the size within a twentieth.

    The focal length is the lens's; the angle follows from unequal sizes by Gaussian optics.
    """
    lean = seen["leaning"].look.lean
    assert lean.right_away_deg.value == pytest.approx(TILT_DEG[0], abs=0.15)
    assert lean.bottom_away_deg.value == pytest.approx(TILT_DEG[1], abs=0.15)
    text = dict(figure_rows(seen["leaning"].look))["sheet"]
    assert re.search(r"right farther by [78]\.\d°", text)
    assert re.search(r"top farther by [45]\.\d°", text)
    square = seen["good"].look.lean
    assert abs(square.right_away_deg.value) < 0.15
    assert dict(figure_rows(seen["good"].look))["sheet"].startswith("square")


def test_without_the_focal_length_there_are_no_degrees(bench_folder):
    look = look_at(bench_folder / "leaning.dng", bench_of(bench_folder)).look
    assert look.lean.right_away_deg is None
    assert look.lean.right_smaller_percent.value > 0
    assert "right farther: drawn" in dict(figure_rows(look))["sheet"]


@pytest.mark.parametrize(("name", "white"), [("good", 0.74), ("dark", 0.06), ("even", 0.5)])
def test_exposure_in_stops_to_three_quarters_of_full_scale(seen, name, white):
    """The scene's white is on the axis, in the most sensitive colour; the lens darkens what is farther out."""
    exposure = seen[name].look.exposure
    assert exposure.stops_more == pytest.approx(np.log2(0.75 / white), abs=0.12)


def test_white_of_a_known_frame():
    """Samples written by hand: black 512, full scale 15359, three quarters of it in red, half in green."""
    samples = np.full((400, 600), 512, np.uint16)
    samples[::2, ::2] += round(0.75 * 15359)
    samples[::2, 1::2] += round(0.5 * 15359)
    samples[1::2, ::2] += round(0.5 * 15359)
    level = measure_exposure(shot_of(samples, BAYER["RGGB"], RGBG))
    assert level.channel == "red"
    assert level.white_share == pytest.approx(0.75, abs=1e-4)
    assert level.stops_more == pytest.approx(0, abs=1e-3)
    assert not level.clipped
    samples[::2, ::2] = 15871
    assert measure_exposure(shot_of(samples, BAYER["RGGB"], RGBG)).clipped


def test_a_clipped_shot_tells_no_stops(seen):
    exposure = seen["clipped"].look.exposure
    assert exposure.clipped
    assert exposure.stops_more is None
    assert "clipped" in exposure_in_words(seen["clipped"].look)


def test_an_even_light_has_its_exposure_only(seen):
    look = seen["even"].look
    assert look.shows == "flat"
    assert look.spots == []
    assert [word for word, _ in figure_rows(look)] == ["exposure"]


def test_where_the_sheet_is_missing(seen):
    """The sheet was moved to the right, so nothing is left of it at the left, or the other way round."""
    look = seen["shifted"].look
    truth = "left"
    assert look.covered_percent < 97
    assert all(truth in place for place in look.uncovered[:2]), look.uncovered


def test_the_same_shot_again_is_no_sharper(seen):
    history = History()
    history.add(seen["good"])
    look = history.add(seen["again"])
    centre = look.since_last.percent["centre"]
    assert abs(centre.value) < 2
    assert look.since_last.shot == "good.dng"


def test_a_defocused_shot_is_softer_than_last_and_best(seen):
    """The sharpness itself says by how much: the ratio of both shots' own figures."""
    history = History()
    for name in ("leaning", "good", "softer"):
        look = history.add(seen[name])
    change = look.since_last.percent["centre"]
    ratio = look.mtf50("centre").value / seen["good"].look.mtf50("centre").value
    assert change.high < 0
    assert change.value == pytest.approx(100 * (ratio - 1), abs=3)
    assert look.since_best.shot in ("good.dng", "leaning.dng")
    back = history.add(seen["again"])
    assert back.since_last.percent["centre"].low > 0


def test_another_aperture_is_not_compared(seen):
    history = History()
    history.add(seen["good"])
    other = seen["again"]
    look = history.add(type(other)(structs.replace(other.look, f_number=8.0), other.edges))
    assert look.since_last is None
    assert "focus" not in dict(figure_rows(look))


def test_shots_are_only_read(bench_folder):
    before = (bench_folder / "good.dng").read_bytes()
    look_at(bench_folder / "good.dng", bench_of(bench_folder))
    assert (bench_folder / "good.dng").read_bytes() == before
