"""Signs alone: every expectation is written by hand.

The picture has x right and y down; 200 × 160 pixels of 6 µm, so its centre is (99.5, 79.5) and its borders lie 0.6
and 0.48 mm from the axis.
"""

import numpy as np
import pytest

from lensbench.simulator.camera import Camera
from lensbench.simulator.dirt import dirt_in_picture
from lensbench.simulator.flat_shot import flat_light
from lensbench.simulator.lens import Colour, Dirt, Lens
from lensbench.simulator.light import falloff_stops
from lensbench.simulator.panel import Panel
from lensbench.simulator.projection import Projection
from lensbench.simulator.response import half_crossing_px
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.target_shot import displacement_px
from tests.simulator.benches import even_lens, grey_camera, response_of

LIFE_SIZE = {"magnification": 1.0, "print": Print()}


def seen(position_mm, lens=None, channel="grey", **scene):
    """Where a place of the sheet is seen, in pixels."""
    projection = Projection(lens or even_lens(focal_mm=50.0), grey_camera(), Scene(**(LIFE_SIZE | scene)))
    return projection.to_picture(np.array(position_mm, dtype=float), channel)


def test_right_is_right_and_down_is_down():
    assert seen((0.3, 0.12)) == pytest.approx([149.5, 99.5])


def test_turn_is_anticlockwise_as_seen():
    assert seen((0.3, 0.0), turn_deg=90) == pytest.approx([99.5, 29.5])


def test_a_mirrored_sheet_has_its_right_at_the_left():
    assert seen((0.3, 0.12), mirrored=True) == pytest.approx([49.5, 99.5])


def test_shift_moves_the_sheet_right_and_down():
    assert seen((0.0, 0.0), shift_mm=(0.06, 0.12)) == pytest.approx([109.5, 99.5])


def test_tilt_takes_right_and_lower_side_away():
    """What is farther away is seen smaller."""
    assert seen((0.3, 0), tilt_deg=(30, 0))[0] - 99.5 < 99.5 - seen((-0.3, 0), tilt_deg=(30, 0))[0]
    assert seen((0, 0.3), tilt_deg=(0, 30))[1] - 79.5 < 79.5 - seen((0, -0.3), tilt_deg=(0, 30))[1]


def test_rail_leads_away():
    """On a rail that leads away the sheet is seen smaller."""
    assert seen((0.3, 0), rail_mm=20.0)[0] < 149.5


def test_cushion_is_positive_and_lies_outward():
    """1 % at a third of the field, on the axis' right: 50 px become 50.5."""
    lens = even_lens(focal_mm=50.0, image_radius_mm=0.3, distortion=(0.01,))
    assert seen((0.3, 0.0), lens) == pytest.approx([150.0, 79.5])


def test_positive_stretch_lies_outward():
    """Red stretched by 1 % lies 0.5 px farther out than green, 50 px from the axis."""
    colours = {"red": Colour((0.61,), stretch=0.01), "green": Colour((0.54,))}
    lens = even_lens(focal_mm=50.0, colours=colours)
    camera = Camera((200, 160), (1.2, 0.96), ((0, 1),), ("red", "green"))
    projection = Projection(lens, camera, Scene(**LIFE_SIZE))
    places = np.array([[0.3, 0.0], [-0.3, 0.0], [0.0, 0.3]])
    moved = projection.to_picture(places, "red") - projection.to_picture(places, "green")
    assert moved == pytest.approx(np.array([[0.5, 0], [-0.5, 0], [0, 0.5]]), abs=1e-9)


def test_the_lens_turns_anticlockwise_as_seen_and_takes_its_axis_along():
    """An axis 0.12 mm to the right lies 0.12 mm up after a quarter turn: the light's middle is there."""
    lens = even_lens(focal_mm=1.0, decentre_mm=(0.12, 0.0), cos_power=4.0)
    for turn, brightest in ((0, (119, 79)), (90, (99, 59))):
        light, truth = flat_light(lens, grey_camera(), Panel(), Scene(magnification=1e-6, lens_turn_deg=turn), 8.0)
        row, column = np.unravel_index(np.argmax(light), light.shape)
        assert (column, row) == pytest.approx(brightest, abs=1.5)
        assert truth.centre_px == pytest.approx(np.array(brightest) + 0.5, abs=1e-6)


def test_dirt_on_the_lens_turns_with_it_and_dirt_on_the_sensor_stays():
    mark = Dirt("fibre", 0.3, 0.0, 0.01, 0.5, length_mm=0.1, angle_deg=10)
    lens, camera = Lens(dirt=(mark,)), grey_camera(dirt=(mark,))
    sensor, turned = dirt_in_picture(Projection(lens, camera, Scene(lens_turn_deg=90)))
    assert (sensor.x_mm, sensor.y_mm, sensor.angle_deg) == (0.3, 0.0, 10)
    assert (turned.x_mm, turned.y_mm, turned.angle_deg) == pytest.approx((0.0, -0.3, 100))


def test_dirt_on_the_panel_moves_right_and_down_with_it():
    """The half-diagonal is √(0.6² + 0.48²) = 0.76837 mm."""
    panel = Panel(shift=(0.5, 0.25), dirt=(Dirt("spot", 0.0, 0.0, 0.01, 0.5),))
    (mark,) = dirt_in_picture(Projection(Lens(), grey_camera(), Scene()), panel)
    assert (mark.x_mm, mark.y_mm) == pytest.approx((0.38419, 0.19209), abs=1e-5)


def test_a_fibre_runs_anticlockwise_from_the_right():
    """At 30° it rises to the right: dark at 20 px along (0.866, -0.5), light on the other diagonal."""
    camera = grey_camera(dirt=(Dirt("fibre", 0.0, 0.0, 0.018, 0.9, length_mm=0.36, angle_deg=30),))
    light, _ = flat_light(even_lens(), camera, Panel(), Scene(white=1.0), 8.0)
    assert light[79 - 10, 99 + 17] < 0.2
    assert light[79 + 10, 99 + 17] > 0.99


def test_positive_falloff_is_darker():
    projection = Projection(even_lens(focal_mm=1.0, cos_power=4.0), grey_camera(), Scene(magnification=1e-6))
    assert falloff_stops(projection, 8.0, "grey", np.array([0.0]), np.array([0.0]))[0] > 0


def test_the_panel_is_brighter_to_the_right_of_a_positive_slope():
    light, _ = flat_light(even_lens(), grey_camera(), Panel(slope=(1.0, 0.0)), Scene(white=0.5), 8.0)
    assert light[80, 180] > light[80, 20]
    light, _ = flat_light(even_lens(), grey_camera(), Panel(), Scene(white=0.5, light_slope=(0.0, 0.2)), 8.0)
    assert light[150, 100] > light[10, 100]


def test_positive_coma_flares_outward():
    """At the right of the axis an edge whose light side is outward has its half farther out."""
    lens = even_lens(open_f_number=2.8, coma_um=4.0)
    right = half_crossing_px(response_of(lens, 2.8, position_mm=(10.0, 0.0)), np.array([[1.0, 0.0], [0.0, 1.0]]))
    assert right[0] > 0.3
    assert right[1] == pytest.approx(0, abs=1e-4)
    below = half_crossing_px(response_of(lens, 2.8, position_mm=(0.0, 10.0)), np.array([[1.0, 0.0], [0.0, 1.0]]))
    assert below[1] > 0.3
    axial = even_lens(open_f_number=2.8, axial_coma_um=(2.0, 0.0))
    assert half_crossing_px(response_of(axial, 2.8), np.array([[1.0, 0.0]]))[0] > 0.3
    turned = response_of(axial, 2.8, lens_turn_deg=90)
    assert half_crossing_px(turned, np.array([[0.0, -1.0]]))[0] > 0.3


def test_a_sensor_beyond_the_focus_is_like_undercorrected_spherical_aberration():
    """Outer rays that meet too near the lens are balanced by moving the sensor nearer."""
    lens = even_lens(open_f_number=4.0, spherical_um=1.2)
    nearer, farther = (abs(response_of(lens, 4.0, defocus_mm=d).along(0.3, 0.0)) for d in (-0.03, 0.03))
    balanced = abs(response_of(lens, 4.0).along(0.3, 0.0))
    assert balanced > nearer
    assert balanced > farther
    # Closed by a stop the focus of the lens moves outward: the sensor, where it was, is too near.
    nearer, farther = (abs(response_of(lens, 8.0, defocus_mm=d).along(0.3, 0.0)) for d in (-0.1, 0.1))
    assert farther > nearer


@pytest.mark.parametrize(
    ("scene", "sign"),
    [({"rail_mm": 1.0}, 1), ({"rail_mm": -1.0}, -1), ({"defocus_mm": 0.01}, 1)],
)
def test_the_sensor_lies_beyond_the_focus_of_things_too_far_away(scene, sign):
    projection = Projection(Lens(), grey_camera(), Scene(magnification=0.5, **scene))
    assert np.sign(projection.defocus_mm(0.0, np.zeros(2))) == sign


def test_lean_puts_the_sensor_beyond_focus_on_the_right():
    projection = Projection(Lens(lean_deg=(1.0, 0.0)), grey_camera(), Scene())
    assert projection.defocus_mm(0.0, np.array([10.0, 0.0])) == pytest.approx(10 * np.tan(np.radians(1)))
    turned = Projection(Lens(lean_deg=(1.0, 0.0)), grey_camera(), Scene(lens_turn_deg=90))
    assert turned.defocus_mm(0.0, np.array([0.0, -10.0])) == pytest.approx(10 * np.tan(np.radians(1)))


def test_a_colour_that_focuses_farther_is_sharper_when_the_sensor_is_too_far():
    lens = even_lens(open_f_number=4.0, colours={"grey": Colour((0.55,), focus_mm=0.05)})
    assert abs(response_of(lens, 4.0, defocus_mm=0.05).along(0.3, 0.0)) > abs(response_of(lens, 4.0).along(0.3, 0))


def test_ink_spreads_into_the_white():
    """Edges' half moves from ink to paper; displacement of the tile stays nought."""
    normal = np.array([[[1.0, 0.0], [0.0, 1.0], [-(0.5**0.5), -(0.5**0.5)]]])
    assert displacement_px(normal, 0.3 * normal) == pytest.approx(np.zeros((1, 2)), abs=1e-12)
    moved = 0.3 * normal + np.array([0.2, -0.1])
    assert displacement_px(normal, moved) == pytest.approx(np.array([[0.2, -0.1]]))
