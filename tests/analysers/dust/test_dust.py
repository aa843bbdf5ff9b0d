"""Dirt marks planted by hand: found, missed and imagined, and the same flats given to other libraries."""

from __future__ import annotations

from dataclasses import replace

import imageio.v3 as imageio
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from lensbench.analysers.dust._blob_fit import fit_blobs
from lensbench.analysers.dust._measure import find_marks
from lensbench.analysers.dust._peaks import Peaks
from lensbench.analysers.dust._pyramid import Level, Pyramid
from lensbench.analysers.dust._residual import residual_of
from lensbench.errors import BenchError
from lensbench.findings import Mark
from lensbench.loaders.planes import picture_shot
from lensbench.shot import Exposure
from tests.analysers import flats
from tests.analysers.dust.other_detectors import DETECTORS, levelled

SIZE = (1200, 800)
SPOTS = (
    # x, y, diameter, depth, blur; the faintest have a signal to noise just above 8
    (140.3, 120.6, 6.0, 0.05, 0.8),
    (420.0, 91.2, 9.0, 0.02, 1.2),
    (700.7, 180.4, 14.0, 0.01, 2.0),
    (1040.5, 90.0, 40.0, 0.006, 8.0),
    (230.2, 420.9, 24.0, 0.2, 3.0),
    (560.6, 500.3, 5.0, 0.3, 0.6),
    (985.1, 430.8, 60.0, 0.03, 10.0),
    (330.4, 700.2, 18.0, -0.03, 3.0),
    (760.9, 660.5, 30.0, 0.01, 6.0),
    (1120.0, 720.7, 12.0, 0.6, 1.0),
)


def spotted(spots=SPOTS, size=SIZE, stops=1.0):
    light = flats.cos4(size, stops, (30, -20))
    for spot in spots:
        flats.disc(light, *spot)
    return light


def near(found: list[tuple[float, float]], x, y, reach):
    return [(fx, fy) for fx, fy in found if np.hypot(fx - x, fy - y) <= reach]


def score(found: list[tuple[float, float]], spots=SPOTS):
    """How many spots have something found within half their diameter, and how much was found that lies on none."""
    hits = sum(bool(near(found, x, y, max(d / 2, 3))) for x, y, d, *_ in spots)
    imagined = sum(not any(np.hypot(fx - x, fy - y) <= d + 4 for x, y, d, *_ in spots) for fx, fy in found)
    return hits, imagined


def places(marks: list[Mark]):
    return [(mark.x, mark.y) for mark in marks]


# -- round marks ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def spots_found():
    return find_marks(flats.flat(spotted(), seed=1, hot=1e-4)).marks


def test_every_spot_is_found_once_and_nothing_else(spots_found):
    assert score(places(spots_found)) == (len(SPOTS), 0)
    assert len(spots_found) == len(SPOTS)
    assert {mark.kind for mark in spots_found} == {"spot"}


def test_places_and_depths_are_true_and_bright_is_negative(spots_found):
    for x, y, diameter, depth, _ in SPOTS:
        mark = min(spots_found, key=lambda m: np.hypot(m.x - x, m.y - y))
        assert np.hypot(mark.x - x, mark.y - y) < max(0.1 * diameter, 0.5)
        assert np.sign(mark.depth_percent.value) == np.sign(depth)
        # A hard-rimmed disc is not quite the shape that is fitted: a tenth of the depth, besides the noise.
        allowed = 0.1 * 100 * abs(depth) + 1.5 * mark.depth_percent.half_width
        assert mark.depth_percent.value == pytest.approx(100 * depth, abs=allowed)
        assert mark.width_px.value == pytest.approx(diameter, abs=0.12 * diameter + 2 * mark.width_px.half_width)


def test_signal_to_noise_is_the_matched_filters(spots_found):
    for spot in SPOTS:
        true = flats.signal_to_noise(spotted(()), spotted((spot,)))
        mark = min(spots_found, key=lambda m: np.hypot(m.x - spot[0], m.y - spot[1]))
        assert mark.signal_to_noise == pytest.approx(true, rel=0.12, abs=2.5)


def test_the_highest_signal_to_noise_comes_first(spots_found):
    signals = [mark.signal_to_noise for mark in spots_found]
    assert signals == sorted(signals, reverse=True)


@pytest.mark.parametrize(
    "mosaic",
    [
        {"pattern": flats.SIX_BY_SIX, "colours": ("red", "green", "blue"), "strengths": (0.6, 1.0, 0.7)},
        {"pattern": np.zeros((1, 1), np.uint8), "colours": ("grey",), "strengths": (1.0,)},
    ],
    ids=["six by six", "without colours"],
)
def test_other_mosaics(mosaic):
    found = find_marks(flats.flat(spotted(), seed=2, hot=1e-4, **mosaic)).marks
    assert score(places(found)) == (len(SPOTS), 0)


def test_white_balance_and_falloff_do_not_hide_spots():
    shot = replace(flats.flat(spotted(stops=2.0), seed=3), gain=np.array([2.1, 1.0, 1.0, 1.7]))
    bright_enough = [
        s for s in SPOTS if flats.signal_to_noise(spotted((), stops=2.0), spotted((s,), stops=2.0)) > 8
    ]
    found = places(find_marks(shot).marks)
    assert score(found, bright_enough)[0] == len(bright_enough) >= 8
    assert score(found)[1] == 0


def test_patches_wide_and_faint():
    light = flats.cos4((2000, 1300), 1.0)
    planted = [(500, 400, 150, 220, 30, 0.012), (1400, 900, 200, 260, 110, 0.03), (1500, 300, 120, 120, 0, -0.015)]
    for patch in planted:
        flats.smear(light, *patch)
    marks = find_marks(flats.flat(light, seed=4)).marks
    assert len(marks) == len(planted)
    for x, y, width, length, _, depth in planted:
        mark = min(marks, key=lambda m: np.hypot(m.x - x, m.y - y))
        assert np.hypot(mark.x - x, mark.y - y) < 0.1 * length
        assert mark.kind == "patch"
        assert mark.width_px.value == pytest.approx(width, rel=0.25)
        assert mark.length_px.value == pytest.approx(length, rel=0.25)
        assert mark.depth_percent.value == pytest.approx(100 * depth, rel=0.3)


def test_a_smear_near_the_border_is_found_and_one_that_runs_out_leaves_no_crumbs():
    """What runs out of a corner may be the light's own; the other lies within, its skirt alone on the border."""
    light = flats.cos4(SIZE, 1.0)
    flats.smear(light, 180, 640, 120, 170, 40, 0.06)
    flats.smear(light, 1190, 30, 200, 260, 30, 0.05)
    strongest, *others = find_marks(flats.flat(light, seed=6)).marks
    assert np.hypot(strongest.x - 180, strongest.y - 640) < 12
    assert strongest.depth_percent.value == pytest.approx(6, rel=0.25)
    # At most one mark where the other runs out, and nothing else anywhere.
    assert len(others) <= 1
    assert all(np.hypot(m.x - 1190, m.y - 30) < 200 for m in others)


def test_a_place_without_any_light_has_no_shape():
    picture = residual_of(flats.flat(flats.cos4((400, 300), 0.5), seed=1))
    blank = Level(2, np.zeros((150, 200), np.float32))
    peak = Peaks(*(np.array([value]) for value in (200.0, 150.0, 10.0, 2.0)))
    assert fit_blobs(picture, [blank], peak) == [None]


def test_single_pixels_are_searched_without_the_marks_found_before():
    """What a steep disc leaves at its rim is no second disc."""
    light = flats.cos4((400, 300), 0.5)
    flats.disc(light, 200, 150, 12, 0.3, 0.5)
    picture = residual_of(flats.flat(light, seed=1))
    levels = Pyramid(picture.z.copy()).levels
    disc = Peaks(*np.array([[200.0], [150.0], [200.0], [4.0]]))
    rim = Peaks(*np.array([[204.0], [150.0], [20.0], [1.4]]))
    [found] = fit_blobs(picture, levels, disc)
    [within] = fit_blobs(picture, levels, rim)
    [beside] = fit_blobs(picture, levels, rim, [found])
    assert within.signal_to_noise > 100
    assert beside is None or beside.signal_to_noise < 0.2 * within.signal_to_noise


# -- fibres ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "width", "depth"),
    [
        (flats.curve(200, 600, 500, 20, 60), 1.0, 0.06),
        (flats.curve(900, 150, 250, 200, -120), 3.0, 0.03),
        (flats.curve(300, 300, 600, -10, 30, waves=1), 2.0, 0.05),
        (flats.curve(1000, 650, 120, 150, 40), 4.0, -0.05),
    ],
    ids=["one pixel wide", "short and bent", "half the frame and swaying", "bright"],
)
def test_a_fibre_is_followed_along_its_bends(path, width, depth):
    light = flats.cos4(SIZE, 1.0)
    flats.fibre(light, path, width, depth)
    (mark,) = find_marks(flats.flat(light, seed=5, hot=1e-4)).marks
    assert mark.kind == "fibre"
    off = np.hypot(*(np.array(mark.path)[:, None] - path[None]).transpose(2, 0, 1)).min(axis=1)
    assert np.median(off) < 1.5
    assert off.max() < 16
    assert mark.length_px.value == pytest.approx(len(path) / 2, rel=0.12)
    assert np.sign(mark.depth_percent.value) == np.sign(depth)
    assert mark.width_px.value < 2.5 * width


def test_a_fibre_far_from_the_sensor_is_one_wide_fibre():
    """Its shadow is as wide as the pencil of light there, many times the fibre."""
    light = flats.cos4(SIZE, 1.0)
    path = flats.curve(250, 620, 600, 10, 70)
    flats.fibre(light, path, 44, 0.06, blur=8)
    (mark,) = find_marks(flats.flat(light, seed=8, hot=1e-4)).marks
    assert mark.kind == "fibre"
    assert mark.width_px.value == pytest.approx(44, rel=0.1)
    assert mark.length_px.value == pytest.approx(600, rel=0.12)
    assert mark.depth_percent.value == pytest.approx(6, rel=0.1)


# -- what is no dirt ------------------------------------------------------------------------------------------


def test_clean_frames_are_clean():
    """Of falloff, noise, hot and dead pixels none is dirt; one false mark in ten frames would be allowed."""
    imagined = 0
    for seed in range(6):
        light = flats.cos4(SIZE, (0.5, 1.0, 2.0)[seed % 3], (20 * seed, -10 * seed))
        imagined += len(find_marks(flats.flat(light, seed=100 + seed, hot=3e-4)).marks)
    assert imagined == 0


def test_a_panel_that_is_brighter_at_one_side_is_no_dirt():
    x, y = flats.grid(SIZE)
    slope = (1 + 0.15 * x / SIZE[0] - 0.1 * (y / SIZE[1]) ** 2).astype(np.float32)
    assert find_marks(flats.flat(flats.cos4(SIZE, 1.0) * slope, seed=7)).marks == []


@pytest.mark.parametrize("noise", [0.001, 0.02], ids=["steps show", "noise hangs together"])
def test_neither_steps_nor_blotches_of_a_jpeg_are_dirt(noise):
    light = flats.cos4(SIZE, 1.0)
    assert find_marks(developed(light, noise)).marks == []
    planted = ((300, 250, 30, 0.08, 5), (800, 600, 16, 0.15, 2))
    for spot in planted:
        flats.disc(light, *spot)
    found = sorted((mark.x, mark.y) for mark in find_marks(developed(light, noise)).marks)
    assert np.array(found) == pytest.approx(np.array([spot[:2] for spot in planted]), abs=2)


def developed(light, noise):
    """A flat as a camera writes it to JPEG: smoothed noise, sRGB (IEC 61966-2-1), 8 bits, compressed."""
    rng = np.random.default_rng(1)
    grain = gaussian_filter(rng.standard_normal((*light.shape, 3), np.float32), (0.7, 0.7, 0))
    linear = 0.6 * light[:, :, None] * (1 + noise * grain) * (0.95, 1.0, 0.9)
    numbers = np.rint(255 * (1.055 * linear ** (1 / 2.4) - 0.055)).astype(np.uint8)
    stored = imageio.imread(imageio.imwrite("<bytes>", numbers, extension=".jpg", quality=93), extension=".jpg")
    return picture_shot("flat.jpg", stored, "srgb", 8, Exposure())


def test_rows_and_columns_of_the_sensor_are_no_fibres():
    shot = flats.flat(flats.cos4(SIZE, 1.0), seed=8)
    rng = np.random.default_rng(8)
    offsets = rng.normal(0, 4, SIZE[1])[:, None] + rng.normal(0, 4, SIZE[0])
    stored = np.clip(shot.samples + offsets, 0, flats.WHITE).astype(np.uint16)
    assert find_marks(replace(shot, samples=stored)).marks == []


def test_a_hot_pixel_on_a_mark_does_not_hide_it():
    shot = flats.flat(spotted(), seed=9)
    stored = shot.samples.copy()
    for x, y, *_ in SPOTS:
        stored[round(y), round(x)] = flats.WHITE
    assert score(places(find_marks(replace(shot, samples=stored)).marks)) == (len(SPOTS), 0)


def test_what_is_clipped_or_dark_is_refused():
    for level in (2.5, 0.0):
        with pytest.raises(BenchError, match=r"w_080\.dng"):
            find_marks(flats.flat(flats.cos4(SIZE, 1.0), level=level, name="w_080.dng"))


# -- beside other libraries -----------------------------------------------------------------------------------


@pytest.mark.parametrize("hot", [0.0, 1e-4], ids=["no defective pixels", "hot and dead pixels"])
def test_ahead_of_general_source_detection_on_the_same_flats(hot):
    """sep, scikit-image's blob_log, and photutils' segmentation and DAOStarFinder, at three thresholds each."""
    shot = flats.flat(spotted(), seed=10, hot=hot)
    clean = flats.flat(spotted(()), seed=11, hot=hot)
    ours = score(places(find_marks(shot).marks))
    ours_clean = len(find_marks(clean).marks)
    assert ours == (len(SPOTS), 0)
    assert ours_clean == 0
    pictures = levelled(shot), levelled(clean)
    for name, (detect, thresholds) in DETECTORS.items():
        for threshold in thresholds:
            hits, imagined = score(detect(pictures[0], threshold))
            imagined += len(detect(pictures[1], threshold))
            assert hits < ours[0] or imagined > 0, f"{name} at {threshold}"
            assert hits <= ours[0]
