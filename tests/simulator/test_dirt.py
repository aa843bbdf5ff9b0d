"""Dirt in flats: places, widths, depths, against geometry and photutils."""

import numpy as np
import photutils.detection
import pytest
from scipy import ndimage

from lensbench.simulator.flat_shot import flat_light, flat_shot
from lensbench.simulator.lens import Dirt, plain_colours
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Scene
from tests.simulator.benches import colour_camera, even_lens, grey_camera

FAR = Scene(magnification=1e-9, white=1.0)


def depth_of(*marks, f_number=8.0, size=(300, 240), scene=FAR):
    """Depth over the frame, as a part of the light, and the truth."""
    light, truth = flat_light(even_lens(), grey_camera(size, dirt=marks), Panel(), scene, f_number)
    return 1 - light, truth.marks


def test_a_spot_on_the_sensor_itself():
    depth, (mark,) = depth_of(Dirt("spot", 0.06, -0.12, 0.09, 0.4))
    assert (mark.x, mark.y) == pytest.approx((159.5, 99.5))
    assert (mark.width_px, mark.length_px, mark.depth_percent) == pytest.approx((15, 15, 40))
    assert depth.sum() == pytest.approx(0.4 * np.pi * 7.5**2, rel=1e-4)
    assert depth[100, 160] == pytest.approx(0.4, abs=1e-3)
    rows, columns = np.mgrid[:240, :300]
    assert (depth * columns).sum() / depth.sum() == pytest.approx(159.5, abs=1e-3)
    assert (depth * rows).sum() / depth.sum() == pytest.approx(99.5, abs=1e-3)


def test_shadows_are_blurred_over_distance_by_effective_f_number():
    """0.48 mm away at f/4 (with m = 1, P = 1: f/8): a disc of 20 px (10 px) that a small mark fills evenly."""
    speck = Dirt("spot", 0.0, 0.0, 0.012, 1.0, distance_mm=0.48)
    depth, (mark,) = depth_of(speck, f_number=4.0)
    assert mark.depth_percent == pytest.approx(100 * (2 / 20) ** 2)
    assert mark.width_px == pytest.approx(20, abs=0.3)
    assert depth[120, 150] == pytest.approx(0.01, abs=1e-4)
    depth, (mark,) = depth_of(speck, f_number=4.0, scene=Scene(magnification=1.0, white=1.0))
    assert mark.depth_percent == pytest.approx(100 * (2 / 10) ** 2)
    assert depth.sum() == pytest.approx(np.pi, rel=1e-3)


def test_a_fibre_across_its_middle():
    """A band 2 px wide, blurred over a disc of 10 px: 2 × 4 / (π 10) deep in the middle line (chord over area)."""
    hair = Dirt("fibre", 0.0, 0.0, 0.012, 0.8, 0.48, length_mm=0.9, angle_deg=90)
    depth, (mark,) = depth_of(hair, f_number=8.0)
    assert mark.depth_percent == pytest.approx(80 * 8 / (10 * np.pi), rel=0.02)
    assert (mark.length_px, mark.kind) == (pytest.approx(150), "fibre")
    row = depth[120]
    assert row.sum() == pytest.approx(0.8 * 2, rel=1e-3)
    assert row.max() == pytest.approx(mark.depth_percent / 100, rel=0.02)
    # The mean of the disc's chords over the band, on a fine grid: where it is half of that in the middle.
    t = np.linspace(-7, 7, 14001)
    means = np.convolve(np.sqrt(np.maximum(25 - t**2, 0)), np.full(2000, 1 / 2000), "same")
    assert mark.width_px == pytest.approx(np.sum(means > means[7000] / 2) * 0.001, abs=0.01)


def test_a_long_bent_fibre_has_no_seams():
    """Pieces join: along the middle line of an arc the depth is the same everywhere."""
    hair = Dirt("fibre", 0.0, 0.0, 0.024, 0.5, 0.24, length_mm=4.2, angle_deg=20, bend=1.5)
    depth, _ = depth_of(hair, f_number=8.0, size=(900, 700))
    assert depth.sum() == pytest.approx(0.5 * 4 * 700, rel=2e-3)
    radius = 700 / 1.5
    turn = np.radians(20)
    centre = np.array([449.5, 349.5]) + radius * np.array([-np.sin(turn), -np.cos(turn)])
    way = np.radians(90 - 20) + np.linspace(-0.7, 0.7, 400)
    arc = centre + radius * np.stack([np.cos(way), np.sin(way)], axis=-1)
    along = ndimage.map_coordinates(depth, arc.T[::-1], order=3)
    assert along == pytest.approx(np.full(400, along.mean()), rel=0.01)
    # A band of 4 px, blurred over a disc of 5: the mean chord of the disc's part that it covers.
    assert along.mean() == pytest.approx(
        0.5 * (2 * (2 * np.sqrt(2.5**2 - 4) / 2.5**2 + np.arcsin(0.8)) / np.pi), rel=0.02
    )


def test_a_patch_is_soft():
    depth, (mark,) = depth_of(Dirt("patch", 0.0, 0.0, 0.36, 0.05))
    assert (mark.width_px, mark.depth_percent) == pytest.approx((60, 5), rel=1e-4)
    assert depth[120, 150] == pytest.approx(0.05, rel=2e-3)
    assert depth[120, 180] == pytest.approx(0.025, rel=0.03)


def test_bright_marks_send_light():
    depth, (mark,) = depth_of(Dirt("spot", 0.0, 0.0, 0.06, -0.1))
    assert depth.min() == pytest.approx(-0.1, abs=1e-3)
    assert mark.depth_percent == pytest.approx(-10)


def test_a_mark_beyond_the_frame_is_not_told():
    assert depth_of(Dirt("spot", 5.0, 0.0, 0.06, 0.5))[1] == []


def test_signal_to_noise_of_the_matched_filter():
    """A clean disc of n samples, each with N electrons and noise √(N + 9 + (0.005 N)²): depth × N × √n / noise."""
    _, (mark,) = depth_of(Dirt("spot", 0.0, 0.0, 0.12, 0.02))
    noise = np.sqrt(30000 + 9 + 150**2)
    assert mark.signal_to_noise == pytest.approx(0.02 * 30000 * np.sqrt(np.pi * 100) / noise, rel=0.02)


def test_photutils_finds_the_marks_where_they_are():
    """DAOStarFinder on the green samples of a noisy flat, half size."""
    marks = tuple(
        Dirt("spot", x, y, 0.05, 0.3, 1.0) for x, y in ((-1.1, -0.7), (0.4, 0.55), (1.15, -0.3), (-0.5, 0.2))
    )
    camera = colour_camera((480, 320), dirt=marks)
    shot, truth = flat_shot(even_lens(colours=plain_colours()), camera, Panel(), FAR, 16.0, seed=3)
    green = shot.samples[0::2, 1::2].astype(float)
    dark = np.median(green) - green
    found = photutils.detection.DAOStarFinder(5 * dark.std() / 4, fwhm=5.0)(dark)
    places = np.array([found[found.colnames[1]], found[found.colnames[2]]]).T * 2 + [1, 0]
    for mark in truth.marks:
        assert np.hypot(*(places - [mark.x, mark.y]).T).min() < 0.6
