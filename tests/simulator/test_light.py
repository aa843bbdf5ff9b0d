"""Falloff, rims, reflections, glare, against handbook values."""

import numpy as np
import pytest

from lensbench.simulator.circles import common_area
from lensbench.simulator.flat_shot import flat_light
from lensbench.simulator.lens import Barrel, Colour, Lens, Reflection, Rim
from lensbench.simulator.light import falloff_stops, passed_light
from lensbench.simulator.panel import Panel
from lensbench.simulator.projection import Projection
from lensbench.simulator.scene import Scene
from tests.simulator.benches import colour_camera, even_lens, grey_camera


@pytest.mark.parametrize(("angle_deg", "stops"), [(20, 0.3590), (30, 0.8301), (40, 1.5380), (45, 2.0), (60, 4.0)])
def test_cosine_to_the_fourth(angle_deg, stops):
    """Smith, Modern Optical Engineering (memory)."""
    projection = Projection(Lens(focal_mm=10.0), grey_camera(), Scene(magnification=1e-9))
    place = np.array([10 * np.tan(np.radians(angle_deg)), 0.0])
    assert -np.log2(passed_light(projection, 8.0, "grey", place)) == pytest.approx(stops, abs=1e-4)


def test_bent_pictures_darken_by_the_angle_before_the_lens():
    """A barrel-bent corner shows a wider angle than its place says."""
    straight, bent = (
        Projection(lens, grey_camera(), Scene(magnification=1e-9))
        for lens in (Lens(focal_mm=10.0, image_radius_mm=10.0, distortion=k) for k in ((), (-0.1,)))
    )
    # 10 mm without bending (45°) come to lie at 9 mm.
    assert passed_light(bent, 8.0, "grey", np.array([9.0, 0.0])) == pytest.approx(0.25, rel=1e-4)
    assert passed_light(straight, 8.0, "grey", np.array([9.0, 0.0])) > 0.3


def test_area_of_two_circles():
    """Equal circles a radius apart share 2π/3 - √3/2 of r² (geometry; known as the vesica)."""
    assert common_area(1.0, 1.0, 1.0) == pytest.approx(2 * np.pi / 3 - np.sqrt(3) / 2)
    assert common_area(2.0, 0.5, 0.3) == pytest.approx(np.pi / 4)
    assert common_area(2.0, 0.5, 3.0) == pytest.approx(0, abs=1e-9)


def test_a_rim_darkens_the_open_corner_and_not_the_closed_one():
    lens = even_lens(open_f_number=2.0, rim=Rim(1.0, 1.0), image_radius_mm=10.0)
    projection = Projection(lens, grey_camera(), Scene(magnification=1e-9))
    corner = np.array([10.0, 0.0])
    assert passed_light(projection, 2.0, "grey", corner) == pytest.approx((2 * np.pi / 3 - 3**0.5 / 2) / np.pi)
    # At f/8 the iris, a quarter of a radius, is half covered by the rim, whose centre is its radius away.
    assert passed_light(projection, 8.0, "grey", corner) == pytest.approx(0.5, abs=0.05)
    assert passed_light(projection, 8.0, "grey", np.array([7.0, 0.0])) == pytest.approx(1.0)


def test_a_barrel_ends_the_light():
    lens = even_lens(barrel=Barrel(5.0, 0.2, (1.0, 0.0)))
    projection = Projection(lens, grey_camera(), Scene())
    light = passed_light(projection, 8.0, "grey", np.array([[6.0, 0.0], [5.5, 0.0], [6.5, 0.0]]))
    assert light == pytest.approx([0.5, 1, 0], abs=1e-4)


def test_falloff_is_counted_from_the_middle_tenth():
    """cos⁴ at the corner of a wide frame, and nought in the mean of h < 0.1."""
    camera = grey_camera((600, 400))
    projection = Projection(even_lens(focal_mm=2.0, cos_power=4.0), camera, Scene(magnification=1e-9))
    corner = falloff_stops(projection, 8.0, "grey", np.array([-0.5]), np.array([-0.5]))
    half_diagonal = np.hypot(1.8, 1.2)
    middle = np.log2(1 + (0.1 * half_diagonal / 2) ** 2 / 2) * 2
    assert corner[0] == pytest.approx(2 * np.log2(1 + (half_diagonal / 2) ** 2) - middle, abs=2e-4)


def test_frame_shows_the_light_that_the_lens_passes():
    camera, lens = grey_camera((300, 200)), even_lens(focal_mm=1.5, cos_power=4.0, rim=Rim(1.2, 0.5))
    light, truth = flat_light(lens, camera, Panel(), Scene(magnification=1e-6, white=1.0), 2.8)
    rows, columns = np.mgrid[0:200:7, 0:300:9]
    sensor = Projection(lens, camera, Scene(magnification=1e-6)).millimetres(np.stack([columns, rows], axis=-1))
    assert light[0:200:7, 0:300:9] == pytest.approx(
        passed_light(Projection(lens, camera, Scene(magnification=1e-6)), 2.8, "grey", sensor), abs=2e-5
    )
    assert truth.stops["grey"][0, 0] == pytest.approx(-np.log2(light[0, 0]), abs=0.02)


def test_glare_lifts_the_dark_and_leaves_the_mean():
    """ISO 9358's veiling glare: a part of the mean light everywhere."""
    plain, hazy = (
        flat_light(even_lens(focal_mm=1.5, cos_power=4.0, glare=g), grey_camera(), Panel(), Scene(), 8.0)[0]
        for g in (0.0, 0.1)
    )
    assert hazy.mean(dtype=float) == pytest.approx(plain.mean(dtype=float), rel=1e-5)
    assert hazy == pytest.approx(0.9 * plain + 0.1 * plain.mean(dtype=float), rel=1e-4)


def test_reflections_grow_with_the_square_of_the_f_number():
    lens = even_lens(reflection=Reflection(0.08, 0.4))
    lights = [flat_light(lens, grey_camera(), Panel(), Scene(white=1.0), f_number)[0] for f_number in (8, 16)]
    middles = [float(light[79:81, 99:101].mean()) for light in lights]
    assert middles == pytest.approx([1.02, 1.08], abs=1e-4)
    assert lights[1][80, 166] - 1 == pytest.approx(0.08 * np.exp(-0.5), abs=5e-4)


def test_a_panel_moves_but_its_fading_stays():
    panel, moved = Panel(slope=(0.2, 0.0), fade=0.3), Panel(slope=(0.2, 0.0), fade=0.3, shift=(0.5, 0.0))
    lights = [flat_light(even_lens(), grey_camera(), p, Scene(white=0.5), 8.0)[0] for p in (panel, moved)]
    # Moved half a half-diagonal to the right, the slope is 0.1 stop darker everywhere.
    assert np.log2(lights[0] / lights[1]) == pytest.approx(0.1, abs=1e-4)
    assert np.log2(lights[0][79, 99] / lights[0][0, 99]) == pytest.approx(0.3 * (79.5 / 128.06) ** 2, abs=5e-3)


def test_colours_may_fall_off_apart():
    colours = {"red": Colour((0.61,), falloff_stops=0.1), "green": Colour((0.54,)), "blue": Colour((0.46,))}
    lens = even_lens(colours=colours, image_radius_mm=1.0)
    _, truth = flat_light(lens, colour_camera((200, 160)), Panel(), Scene(), 8.0)
    corner = np.hypot(99.5, 79.5) * 0.006
    assert truth.stops["red"][0, 0] - truth.stops["green"][0, 0] == pytest.approx(0.1 * corner**2, abs=1e-3)
