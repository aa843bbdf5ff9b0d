"""Shots that don't show what the session file says: each is left out, with what it looks like and what to mend."""

from dataclasses import replace

import numpy as np
import pytest

from lensbench.dng import write_dng
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._darks import fitting_darks, read_darks
from lensbench.run._loading import other_size
from lensbench.run._read_edges import read_blade, read_target
from lensbench.run._read_flats import read_flats
from lensbench.shot import Exposure
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


def darks_of(folder, *entries):
    return read_darks(folder, entries, lambda name: None)


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


def test_a_lit_dark_frame_is_not_subtracted(folder):
    """Subtracted, it would leave next to nothing of the flat."""
    lit, dark = (ShotEntry(f"{name}.dng", "dark") for name in ("flat", "dark"))
    (said,) = texts(darks_of(folder, lit).notices)
    assert said.startswith("flat.dng: is no dark frame: half of it has more than")
    assert "Put the cap on" in said
    assert darks_of(folder, dark).notices == []
    flat = [ShotEntry("flat.dng", "flat")]
    outcomes = [read_flats(folder, flat, darks_of(folder, *darks).means) for darks in ([], [lit], [lit, dark])]
    without, alone, both = (outcome.reading.light.stops for outcome in outcomes)
    assert np.array_equal(without, alone)
    assert both == pytest.approx(without, abs=0.02)


def test_dark_frames_of_one_exposure_become_their_mean(tmp_path):
    """Each file is loaded once; of those with one shutter time and ISO the mean is kept, in stored numbers."""
    rng = np.random.default_rng(3)
    plain = shot_of(mosaic_of(np.zeros((60, 90))), BAYER["RGGB"], RGBG)
    stored = rng.integers(500, 530, (5, 60, 90)).astype(np.uint16)
    for number, (samples, iso) in enumerate(zip(stored, (100, 100, 100, 400, 100), strict=True)):
        exposure = Exposure(shutter_s=0.5, iso=iso)
        write_dng(tmp_path / f"d{number}.dng", replace(plain, samples=samples, exposure=exposure))
    entries = [ShotEntry(f"d{number}.dng", "dark") for number in range(5)]
    read = []
    darks = read_darks(tmp_path, entries, read.append)
    assert read == [entry.file for entry in entries]
    assert [digest.file for digest in darks.digests] == read
    mean, single = darks.means
    assert mean.files == ("d0.dng", "d1.dng", "d2.dng", "d4.dng")
    assert mean.shot.samples == pytest.approx(stored[[0, 1, 2, 4]].astype(float).mean(axis=0), rel=1e-7)
    assert np.array_equal(single.shot.samples, stored[3])
    shot = replace(plain, exposure=Exposure(shutter_s=0.51, iso=400))
    assert fitting_darks(shot, darks.means).files == ("d3.dng",)
    assert fitting_darks(replace(shot, exposure=Exposure()), darks.means).files == (*mean.files, "d3.dng")
    assert fitting_darks(replace(shot, exposure=Exposure(iso=200)), darks.means).files == ()


def test_a_dark_frame_that_cannot_be_read_is_told(folder):
    (folder / "cut.dng").write_bytes((folder / "dark.dng").read_bytes()[:9000])
    (said,) = texts(darks_of(folder, ShotEntry("cut.dng", "dark")).notices)
    assert said.startswith("cut.dng: is cut short")


def test_a_turned_picture_is_told_from_one_of_another_size():
    turned, other = (other_size("a.jpg", size, (6000, 4000)).text for size in ((4000, 6000), (5000, 4000)))
    assert "turned it" in turned
    assert "uncropped" not in turned
    assert "uncropped" in other
    assert "turned" not in other
