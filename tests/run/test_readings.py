"""Shots that don't show what the session file says: each is left out, with what it looks like and what to mend."""

import numpy as np
import pytest

from lensbench.dng import write_dng
from lensbench.loaders.session import ShotEntry
from lensbench.run.readings import other_size, read_blade, read_dark, read_flats, read_target
from lensbench.target.layout import make_layout
from tests.invented_shots import BAYER, RGBG, drawn_target, falloff, mosaic_of, shot_of

SIZE = (600, 400)
LAYOUT = make_layout((36.0, 24.0), 0.2)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("evening")
    light = {"target": drawn_target(*SIZE), "flat": falloff(*SIZE), "dark": np.zeros(SIZE[::-1])}
    for name, scene in light.items():
        write_dng(folder / f"{name}.dng", shot_of(mosaic_of(scene), BAYER["RGGB"], RGBG))
    return folder


def texts(notices):
    return [notice.text for notice in notices if notice.code == "left-out"]


@pytest.mark.parametrize(("name", "looks"), [("flat", "an even light"), ("dark", "a shot with the cap on")])
def test_a_target_that_is_none_says_what_it_looks_like(name, looks, folder):
    outcome = read_target(folder, ShotEntry(f"{name}.dng", "target"), LAYOUT, [], 1)
    reading, notices = outcome.reading, outcome.notices
    assert reading is None
    # How to shoot a target better is no help here.
    assert [notice.code for notice in notices] == ["left-out"]
    assert texts(notices) == [
        f"{name}.dng: shows no tile of the target; it looks like {looks}, so mend "
        f'shows = "{name}" in session.toml. It is left out.'
    ]


def test_a_blade_that_is_none_says_what_it_looks_like(folder):
    outcome = read_blade(folder, ShotEntry("flat.dng", "blade"), 1)
    reading, notices = outcome.reading, outcome.notices
    assert reading is None
    assert "it looks like an even light" in texts(notices)[0]


def test_a_lit_dark_frame_is_not_taken_off(folder):
    """Taken off, it would leave next to nothing of the flat."""
    lit, dark = (ShotEntry(f"{name}.dng", "dark") for name in ("flat", "dark"))
    (said,) = texts(read_dark(folder, lit, 1).notices)
    assert said.startswith("flat.dng: is no dark frame: half of it has more than")
    assert "Put the cap on" in said
    assert read_dark(folder, dark, 1).notices == []
    flat = [ShotEntry("flat.dng", "flat")]
    outcomes = [read_flats(folder, flat, darks) for darks in ([], [lit], [lit, dark])]
    without, alone, both = (outcome.reading.light.stops for outcome in outcomes)
    assert np.array_equal(without, alone)
    assert both == pytest.approx(without, abs=0.02)


def test_a_dark_frame_that_cannot_be_read_is_told(folder):
    (folder / "cut.dng").write_bytes((folder / "dark.dng").read_bytes()[:9000])
    (said,) = texts(read_dark(folder, ShotEntry("cut.dng", "dark"), 1).notices)
    assert said.startswith("cut.dng: is cut short")


def test_a_turned_picture_is_told_from_one_of_another_size():
    turned, other = (other_size("a.jpg", size, (6000, 4000)).text for size in ((4000, 6000), (5000, 4000)))
    assert "turned it" in turned
    assert "uncropped" not in turned
    assert "uncropped" in other
    assert "turned" not in other
