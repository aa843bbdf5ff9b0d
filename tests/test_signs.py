"""Signs alone: which way round every figure of place counts, on corners written out by hand.

The frame is 1200 × 800 pixels, its middle (599.5, 399.5); x runs right and y down.
"""

import numpy as np
import pytest

from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.findings import Alignment, Camera, Distortion, Figure, Geometry, Position, Setting
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import Layout
from lensbench.verdicts.assembly import judge_assembly
from lensbench.verdicts.assembly._softer_side import Arrow
from lensbench.verdicts.assembly._turn_test import split_by_turn
from tests.analysers.geometry.invented_lines import responses_at

SIZE = (1200, 800)
MIDDLE = np.array([599.5, 399.5])

# Right angle, end of one leg, end of the other, in millimetres from the target's centre.
SHEET = np.array(
    [
        [(-50, -30), (-40, -30), (-50, -20)], [(-20, -30), (-10, -30), (-20, -20)],
        [(10, -30), (20, -30), (10, -20)], [(40, -30), (50, -30), (40, -20)],
        [(-40, 0), (-50, 0), (-40, -10)], [(-10, 0), (-20, 0), (-10, -10)],
        [(20, 0), (10, 0), (20, -10)], [(50, 0), (40, 0), (50, -10)],
        [(-50, 20), (-40, 20), (-50, 30)], [(-10, 30), (-20, 30), (-10, 20)],
        [(10, 20), (20, 20), (10, 30)], [(50, 30), (40, 30), (50, 20)],
    ],
    float,
)  # fmt: skip
PLACE = np.arange(12)
LAYOUT = Layout(30.0, 12, 1, (100.0, 60.0), PLACE, np.zeros(12, int), SHEET)


def lines_between(corners):
    """Middles, normals away from the black, of the sides 0-1, 0-2 and 1-2 of triangles."""
    ends = corners[:, [[0, 1], [0, 2], [1, 2]]]
    middle = ends.mean(axis=2)
    along = ends[:, :, 1] - ends[:, :, 0]
    normal = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    away = middle - corners.mean(axis=1, keepdims=True)
    normal *= np.sign((normal * away).sum(axis=-1))[..., None]
    return middle.reshape(-1, 2), normal.reshape(-1, 2)


def geometry_of(picture):
    """Geometry when the sheet's places (x, y) in mm show at `picture(x, y)`, pixels from the frame's middle."""
    seen = MIDDLE + np.stack(picture(SHEET[..., 0], SHEET[..., 1]), axis=-1)
    point, normal = lines_between(seen)
    lines = Lines(np.repeat(PLACE, 3), np.zeros(36, int), np.tile([0, 1, 2], 12), point, normal, np.full(36, 0.01))
    return measure_geometry([TargetShot("a.dng", lines)], LAYOUT, SIZE, (12.0, 8.0), (100.0, 60.0))


def test_scale_and_magnification():
    found = geometry_of(lambda x, y: (10 * x, 10 * y))
    assert found.scale_px_mm.value == pytest.approx(10, rel=1e-6)
    # 10 px of 0.01 mm for a millimetre of the sheet.
    assert found.magnification.value == pytest.approx(0.1, rel=1e-6)
    assert found.target_turn_deg.value == pytest.approx(0, abs=1e-6)


def test_a_quarter_turn_anticlockwise_is_plus_90():
    # What was at the right is at the top, what was at the top is at the left.
    found = geometry_of(lambda x, y: (8 * y, -8 * x))
    assert found.target_turn_deg.value == pytest.approx(90, abs=1e-6)


def test_a_small_turn_clockwise_is_negative():
    # The right end of a level line sinks: y grows.
    found = geometry_of(lambda x, y: (10 * x - 0.5 * y, 10 * y + 0.5 * x))
    assert found.target_turn_deg.value == pytest.approx(-2.8624, abs=1e-3)


def test_barrel_is_negative_and_draws_the_outside_smaller():
    def barrel(x, y):
        shrink = 1 - 0.05 * (x * x + y * y) / 72.11**2
        return 12.5 * x * shrink, 12.5 * y * shrink

    found = geometry_of(barrel)
    assert found.distortion.shape == "barrel"
    assert found.distortion_percent.high < 0
    assert found.distortion.curve[-1].local_percent.high < 0
    assert found.distortion.bow_percent.high < 0
    outer = next(zone for zone in found.magnification_zones if zone.zone == "outer top-left")
    assert outer.percent.high < 99


def test_cushion_is_positive():
    def cushion(x, y):
        growth = 1 + 0.05 * (x * x + y * y) / 72.11**2
        return 11.5 * x * growth, 11.5 * y * growth

    found = geometry_of(cushion)
    assert found.distortion.shape == "cushion"
    assert found.distortion_percent.low > 0
    assert found.distortion.curve[-1].local_percent.low > 0
    assert found.distortion.bow_percent.low > 0


def test_right_side_farther_away_is_drawn_smaller():
    found = geometry_of(lambda x, y: (10 * x / (1 + 0.0005 * x), 10 * y / (1 + 0.0005 * x)))
    assert found.alignment.wider_left_percent.low > 0
    assert abs(found.alignment.wider_top_percent.value) < 0.05


def test_lower_side_nearer_is_drawn_larger():
    found = geometry_of(lambda x, y: (10 * x / (1 - 0.0005 * y), 10 * y / (1 - 0.0005 * y)))
    assert found.alignment.wider_top_percent.high < 0
    assert abs(found.alignment.wider_left_percent.value) < 0.05


def test_ink_spread_is_positive_where_black_has_grown():
    seen = MIDDLE + 10 * SHEET
    point, normal = lines_between(seen)
    lines = Lines(
        np.repeat(PLACE, 3),
        np.zeros(36, int),
        np.tile([0, 1, 2], 12),
        point + 0.4 * normal,
        normal,
        np.full(36, 0.01),
    )
    found = measure_geometry([TargetShot("a.dng", lines)], LAYOUT, SIZE, (12.0, 8.0), (100.0, 60.0))
    # 0.4 px outwards are 40 µm of the sheet at 10 px/mm; the scale is not fooled.
    assert found.ink_spread_um.value == pytest.approx(40, abs=0.5)
    assert found.scale_px_mm.value == pytest.approx(10, rel=1e-5)


# -- colours --------------------------------------------------------------------------------------------------

GREEN = np.array(
    [
        [(1000, 380), (1080, 380), (1000, 460)],  # at the right
        [(180, 420), (100, 420), (180, 340)],  # at the left
        [(580, 60), (660, 60), (580, 140)],  # at the top
        [(620, 740), (540, 740), (620, 660)],  # at the bottom
    ],
    float,
)
RIGHT, LEFT, TOP, BOTTOM = range(4)


def fringing_of(move):
    """Fringing of four tiles when red's corners lie at `move(x, y)` of green's."""
    red = np.stack(move(GREEN[..., 0], GREEN[..., 1]), axis=-1)
    found = FoundTiles(np.arange(4), np.zeros(4, int), GREEN, np.ones(4, bool), False)
    at, normal = lines_between(GREEN)
    moved, moved_normal = lines_between(red)
    still = responses_at(at, normal, np.zeros(12), 0.005)
    offset = ((moved - at) * moved_normal).sum(axis=1)
    return measure_fringing(found, {"green": still, "red": responses_at(at, moved_normal, offset, 0.005)}, SIZE)


def test_red_to_the_right_and_down_is_positive():
    found = fringing_of(lambda x, y: (x + 0.5, y + 0.25))
    for tile in found.tiles:
        assert tile.red.dx.value == pytest.approx(0.5, abs=1e-6)
        assert tile.red.dy.value == pytest.approx(0.25, abs=1e-6)
    assert found.tiles[RIGHT].red.radial_px.value > 0 > found.tiles[LEFT].red.radial_px.value
    assert found.tiles[BOTTOM].red.radial_px.value > 0 > found.tiles[TOP].red.radial_px.value
    # Down at the right side goes round clockwise, at the left side anticlockwise.
    assert found.tiles[RIGHT].red.around_px.value < 0 < found.tiles[LEFT].red.around_px.value


def test_larger_red_lies_outward_everywhere():
    found = fringing_of(lambda x, y: (x + 0.001 * (x - 599.5), y + 0.001 * (y - 399.5)))
    assert all(tile.red.radial_px.low > 0.2 for tile in found.tiles)
    assert all(abs(tile.red.around_px.value) < 0.02 for tile in found.tiles)
    assert found.tiles[RIGHT].red.dx.value > 0 > found.tiles[LEFT].red.dx.value
    assert found.tiles[BOTTOM].red.dy.value > 0 > found.tiles[TOP].red.dy.value


def test_red_turned_anticlockwise_is_positive_around():
    # Anticlockwise as seen: the right side goes up.
    found = fringing_of(lambda x, y: (x + 0.001 * (y - 399.5), y - 0.001 * (x - 599.5)))
    assert found.tiles[RIGHT].red.dy.value < 0 < found.tiles[LEFT].red.dy.value
    assert all(tile.red.around_px.low > 0.2 for tile in found.tiles)


def test_larger_black_figures_are_no_displacement():
    at, normal = lines_between(GREEN)
    found = FoundTiles(np.arange(4), np.zeros(4, int), GREEN, np.ones(4, bool), False)
    responses = {
        "green": responses_at(at, normal, np.zeros(12), 0.005),
        "red": responses_at(at, normal, np.full(12, 0.7), 0.005),
    }
    for tile in measure_fringing(found, responses, SIZE).tiles:
        assert abs(tile.red.dx.value) < 1e-9
        assert abs(tile.red.dy.value) < 1e-9


# -- the lens in its mount ------------------------------------------------------------------------------------


def test_a_lens_turned_anticlockwise_carries_its_right_to_the_top():
    seen = [(0.0, Arrow(np.array([3.0, 0.0]), np.full(2, 0.1), "%"))]
    seen.append((90.0, Arrow(np.array([0.0, -3.0]), np.full(2, 0.1), "%")))
    test = split_by_turn("sharpness", seen)
    assert test.cause == "lens"
    assert [part.value for part in test.turns] == pytest.approx([3, 0], abs=1e-9)
    assert [part.value for part in test.stays] == pytest.approx([0, 0], abs=1e-9)


def test_an_arrow_that_stays_is_the_targets():
    seen = [(turn, Arrow(np.array([0.0, 2.0]), np.full(2, 0.1), "%")) for turn in (0.0, 180.0)]
    test = split_by_turn("keystone", seen)
    assert test.cause == "target or camera"
    assert [part.value for part in test.stays] == pytest.approx([0, 2], abs=1e-9)


def test_centres_are_told_from_the_frames_middle_in_the_pictures_sense():
    def figure(value, unit="px"):
        return Figure.of(value, 1.0, unit)

    def geometry(x, y):
        bent = Distortion("barrel", [], figure(0), Position(figure(x), figure(y)), (x, y), [], figure(0))
        return Geometry(distortion=bent, alignment=Alignment(figure(0), figure(0), None, None, True))

    camera = Camera(SIZE, (12.0, 8.0), 10.0)
    centre = judge_assembly([Setting(geometry=geometry(699.5, 349.5))], camera).centres[0]
    assert centre.x.value == pytest.approx(1.0)
    assert centre.y.value == pytest.approx(-0.5)
    assert centre.x.unit == "mm"
