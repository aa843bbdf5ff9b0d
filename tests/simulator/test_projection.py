"""Where things are seen and how far out of focus, against thin-lens formulas worked by hand."""

import numpy as np
import pytest

from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.projection import Projection
from lensbench.simulator.scene import Print, Scene

FULL_FRAME = Camera((6000, 4000), (36.0, 24.0))


def bench(lens=None, **scene):
    return Projection(lens or Lens(focal_mm=20.0), FULL_FRAME, Scene(**scene))


def test_20_mm_at_life_size_sees_57_degrees():
    """56.8° over the diagonal of 36 × 24 mm, P = 1 (2 arctan(21.633 / 40))."""
    angle = 2 * np.degrees(np.arctan(np.hypot(18, 12) / bench(magnification=1.0).image_distance_mm))
    assert angle == pytest.approx(56.8, abs=0.05)


@pytest.mark.parametrize(("focal", "angle"), [(20, 94.5), (24, 84.1), (28, 75.4), (35, 63.4), (50, 46.8)])
def test_field_of_view_far_away(focal, angle):
    """Handbook tables of rectilinear lenses on 36 × 24 mm."""
    far = bench(Lens(focal_mm=focal), magnification=1e-6)
    assert 2 * np.degrees(np.arctan(np.hypot(18, 12) / far.image_distance_mm)) == pytest.approx(angle, abs=0.06)


def test_a_rail_step_gives_the_image_distance():
    """Δu / (1/m₂ - 1/m₁), focus untouched."""
    lens = Lens(focal_mm=50.0, pupil_ratio=0.8)
    near, far = (bench(lens, magnification=0.5, rail_mm=r) for r in (0.0, 7.0))
    found = 7.0 / (1 / far.magnification - 1 / near.magnification)
    assert found == pytest.approx(50 * (1 + 0.5 / 0.8))


@pytest.mark.parametrize("pupil_ratio", [0.6, 1.0, 1.7])
def test_magnification_in_focus_is_that_of_the_lens(pupil_ratio):
    """Entrance pupil to sheet is f(1/m + 1/P) (thick lens with pupils; Smith, memory): sizes come out at m."""
    focused = bench(Lens(focal_mm=50.0, pupil_ratio=pupil_ratio), magnification=0.4)
    assert focused.object_distance_mm == pytest.approx(50 * (1 / 0.4 + 1 / pupil_ratio))
    assert focused.ideal_mm([10.0, -5.0]) == pytest.approx([4.0, -2.0])


def test_defocus_follows_the_lens_formula():
    """50 mm at 1×: 100 mm before the lens and behind it. At 101 mm, 1/(1/50 - 1/101) = 99.0196: 0.9804 too far."""
    at_life_size = bench(Lens(focal_mm=50.0), magnification=1.0)
    assert at_life_size.defocus_mm(1.0, np.zeros(2)) == pytest.approx(0.98039, abs=1e-5)


def test_small_depths_defocus_by_the_square_of_magnification():
    shallow = bench(Lens(focal_mm=50.0), magnification=0.3)
    assert shallow.defocus_mm(0.01, np.zeros(2)) == pytest.approx(0.3**2 * 0.01, rel=1e-3)


def test_a_tilted_sheet_is_seen_in_perspective():
    """At 30°, 20 mm to the right lies 17.32 mm over and 10 mm farther: 40/(80 + 10) of that for 20 mm at 1×."""
    tilted = bench(Lens(focal_mm=40.0), magnification=0.5, tilt_deg=(30.0, 0.0))
    assert tilted.image_distance_mm == pytest.approx(60.0)
    assert tilted.ideal_mm([20.0, 0.0]) == pytest.approx([60 * 17.3205 / 130, 0.0], abs=1e-4)


def test_bending_by_hand_and_back():
    """H = 0.5 right: 1 + 0.1 × 0.25 - 0.02 × 0.0625 = 1.02375. Decentring (0.01, 0): 3 × 0.01 H² along it."""
    lens = Lens(image_radius_mm=20.0, distortion=(0.1, -0.02), decentring=(0.01, 0.0), decentre_mm=(1.0, 0.5))
    projection = bench(lens)
    assert projection.distorted_mm([11.0, 0.5]) == pytest.approx([1 + 10.2375 + 20 * 0.03 * 0.25, 0.5])
    # Across the vector it is 0.01 H².
    assert projection.distorted_mm([1.0, 10.5]) == pytest.approx([1 + 20 * 0.01 * 0.25, 0.5 + 10.2375])
    places = np.random.default_rng(1).uniform(-14, 14, (50, 2))
    assert projection.undistorted_mm(projection.distorted_mm(places)) == pytest.approx(places, abs=1e-5)


def test_printers_scale_each_way():
    scaled = bench(magnification=0.1, print=Print(scale=(1.01, 0.98)))
    assert scaled.ideal_mm([100.0, 100.0]) == pytest.approx([10.1, 9.8])
