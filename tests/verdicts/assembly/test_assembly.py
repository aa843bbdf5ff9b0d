"""Put together straight? Centres side by side and the turn test, on findings made by hand."""

import numpy as np
import pytest
from msgspec import structs

from lensbench.findings import (
    Camera,
    EdgeSharpness,
    FieldStep,
    Figure,
    Focus,
    FocusLean,
    Position,
    Setting,
    Sharpness,
)
from lensbench.frame import edge_direction, h_of
from lensbench.verdicts.assembly import judge_assembly
from lensbench.verdicts.assembly._centres import way_in_words
from lensbench.verdicts.assembly._softer_side import sharpness_arrow
from tests.invented_centres import falloff_about, fringing_about, geometry_about

SIZE = (6000, 4000)
CAMERA = Camera(SIZE, (36.0, 24.0), 6.0)
MIDDLE = (2999.5, 1999.5)


def place(dx, dy, half=5.0):
    return Position(Figure.of(MIDDLE[0] + dx, half, "px"), Figure.of(MIDDLE[1] + dy, half, "px"))


def geometry(centre=None, wider_left=0.0, wider_top=0.0):
    return geometry_about(centre, MIDDLE, Figure.of(wider_left, 0.02, "%"), Figure.of(wider_top, 0.02, "%"))


def fringing(red, blue):
    return fringing_about({"red": red, "blue": blue}, MIDDLE)


def edges(gain_x=0.0, gain_y=0.0, seed=0):
    """A frame of edges, sharper towards x or y by a part per half-diagonal, and softer outwards."""
    rng = np.random.default_rng(seed)
    rows = []
    for x in np.linspace(200, 5800, 12):
        for y in np.linspace(200, 3800, 8):
            u, v = (x - MIDDLE[0]) / 3606, (y - MIDDLE[1]) / 3606
            angle = float(np.degrees(np.arctan2(-v, u)))
            for turn in (0, 90):
                direction = str(edge_direction(x, y, angle + turn, SIZE))
                level = 0.25 * np.exp(gain_x * u + gain_y * v - 0.4 * (u * u + v * v) * (1.5 if turn else 1.0))
                level *= 1 + 0.01 * rng.standard_normal()
                rows.append(
                    EdgeSharpness(0, 0, "along", direction, "green", x, y, float(h_of(x, y, SIZE)), angle + turn,
                                  Figure.of(level, 0.005, "cy/px"), True)
                )  # fmt: skip
    return Sharpness(edges=rows)


def test_centres_together_are_straight():
    setting = Setting(
        geometry=geometry(place(10, -5)),
        fringing=fringing(place(12, 0), place(5, 3)),
        falloff=falloff_about(place(-20, 10)),
    )
    verdict = judge_assembly([setting], CAMERA)
    assert verdict.answer == "straight"
    assert [centre.of for centre in verdict.centres] == ["distortion", "red fringing", "blue fringing", "falloff"]
    assert verdict.centres[0].x.value == pytest.approx(0.06)
    assert verdict.centres[0].x.unit == "mm"
    assert "lie together" in verdict.text


def test_one_centre_apart_is_named_with_its_way():
    setting = Setting(geometry=geometry(place(0, 0)), falloff=falloff_about(place(-300, 0)))
    verdict = judge_assembly([setting], CAMERA)
    assert verdict.answer == "not straight"
    # 300 px of 6 µm.
    assert "centre of distortion lies 1.8 mm right of the centre of falloff" in verdict.text


def test_a_gap_within_its_interval_is_no_gap_and_no_evidence_either():
    setting = Setting(geometry=geometry(place(0, 0)), falloff=falloff_about(place(-300, 0, half=290)))
    verdict = judge_assembly([setting], CAMERA)
    assert verdict.answer == "can't tell"
    assert "too unsure to say whether they coincide" in verdict.text


def test_a_lens_that_sits_askew_as_a_whole_is_told_so():
    setting = Setting(geometry=geometry(place(400, 0)), falloff=falloff_about(place(400, 0)))
    verdict = judge_assembly([setting], CAMERA)
    assert verdict.answer == "straight"
    # The picture stands on its head on the sensor: right in the picture is left, seen from behind.
    assert "right of the frame's centre" in verdict.text
    assert "seen from behind the camera its axis meets the sensor left of its middle" in verdict.text


def test_without_a_pitch_centres_are_in_pixels():
    setting = Setting(geometry=geometry(place(10, 0)), falloff=falloff_about(place(10, 0)))
    centre = judge_assembly([setting], Camera(SIZE)).centres[0]
    assert (centre.x.value, centre.x.unit) == (pytest.approx(10), "px")


@pytest.mark.parametrize("settings", [[], [Setting()], [Setting(geometry=geometry(place(0, 0)))]])
def test_too_little_to_tell(settings):
    verdict = judge_assembly(settings, CAMERA)
    assert verdict.answer == "can't tell"
    assert "Fewer than two" in verdict.text


def test_sharpness_arrow_points_to_the_sharper_side():
    arrow = sharpness_arrow(Setting(sharpness=edges(gain_x=0.3, gain_y=-0.1)), CAMERA)
    assert arrow.vector == pytest.approx([30, -10], abs=1.5)
    assert np.all(arrow.spread < 1)


def test_even_falloff_of_sharpness_is_no_arrow():
    arrow = sharpness_arrow(Setting(sharpness=edges()), CAMERA)
    assert np.abs(arrow.vector).max() < 3.5 * arrow.spread.max()


def test_a_tilted_lens_turns_its_soft_side_along():
    settings = [
        Setting(f_number=4, sharpness=edges(gain_x=0.3)),
        Setting(f_number=4, lens_turn_deg=180, sharpness=edges(gain_x=-0.3, seed=1)),
    ]
    verdict = judge_assembly(settings, CAMERA)
    (test,) = verdict.turn_tests
    assert (test.of, test.cause) == ("sharpness", "lens")
    assert verdict.answer == "not straight"
    assert "it belongs to the lens" in verdict.text


def test_a_tilted_target_stays():
    settings = [
        Setting(
            f_number=4, lens_turn_deg=turn, geometry=geometry(wider_left=1.5), sharpness=edges(gain_x=0.3, seed=i)
        )
        for i, turn in enumerate((0, 180))
    ]
    verdict = judge_assembly(settings, CAMERA)
    assert {test.of: test.cause for test in verdict.turn_tests} == {
        "sharpness": "target or camera",
        "keystone": "target or camera",
    }
    assert verdict.answer == "straight"


def test_a_softer_side_alone_is_target_or_lens():
    """Centres that lie together don't make a lopsided picture straight, and don't say whose it is."""
    together = {"geometry": geometry(place(0, 0)), "falloff": falloff_about(place(5, 5))}
    verdict = judge_assembly([Setting(f_number=4, sharpness=edges(gain_x=-0.3), **together)], CAMERA)
    assert verdict.answer == "can't tell"
    assert verdict.softer_side.side == "right"
    assert verdict.softer_side.cause == "can't tell"
    # From border to border along x: 6000 px are 1.664 half-diagonals, exp(-0.3 · 1.664) = 0.607.
    assert verdict.softer_side.percent.value == pytest.approx(39.3, abs=1.5)
    assert (
        "At f/4 the right of the picture is 39 % softer than the left: because of the target or the lens"
        in verdict.text
    )
    assert "lens turned" in verdict.text


def test_a_softer_side_has_the_turn_tests_blame():
    settings = [
        Setting(f_number=4, lens_turn_deg=turn, sharpness=edges(gain_y=gain, seed=i))
        for i, (turn, gain) in enumerate(((0, 0.3), (180, -0.3)))
    ]
    verdict = judge_assembly(settings, CAMERA)
    assert (verdict.softer_side.side, verdict.softer_side.cause) == ("top", "lens")
    assert "because of the target or the lens" not in verdict.text


@pytest.mark.parametrize(
    ("own", "half", "cause", "answer"),
    [
        (0.3, 0.005, "lens or mount", "not straight"),
        (0.0, 0.003, "target", "straight"),
        (0.0, 0.1, "target", "can't tell"),
    ],
)
def test_a_rail_series_tells_too(own, half, cause, answer):
    """Best focus that leans against the sensor by more than the target's own lean is lens's, mount's or sensor's.

    At f/4 a quarter-wave depth is 2 λ N² = 17.6 µm: 0.047° over a half-diagonal of 21.6 mm.
    """

    def degrees(value):
        return Figure.of(value, half, "°")

    lean = FocusLean(degrees(2.0), degrees(0), (degrees(own), degrees(0)))
    focus = Focus([], [], degrees(0), "farther", degrees(1), "t", 0.0, 0.0, lean=lean)
    together = {"geometry": geometry(place(0, 0)), "falloff": falloff_about(place(5, 5))}
    verdict = judge_assembly([Setting(f_number=4, sharpness=edges(gain_x=-0.3), focus=focus, **together)], CAMERA)
    assert (verdict.softer_side.cause, verdict.answer) == (cause, answer)


def test_a_little_lopsidedness_is_left_alone():
    together = {"geometry": geometry(place(0, 0)), "falloff": falloff_about(place(5, 5))}
    verdict = judge_assembly([Setting(f_number=8, sharpness=edges(gain_x=-0.05), **together)], CAMERA)
    assert (verdict.answer, verdict.softer_side) == ("straight", None)


def test_the_aperture_that_shows_it_most_speaks():
    settings = [Setting(f_number=f, sharpness=edges(gain_x=gain)) for f, gain in ((4, 0.35), (8, 0.15))]
    assert judge_assembly(settings, CAMERA).softer_side.setting == "f/4"


def test_keystone_of_both_is_split():
    # The lens gives 0.6 % to the right at 0°, so to the top at 90°; the target 1 % to the right always. Per
    # half-diagonal, over a frame of 1.664 × 1.109 half-diagonals.
    across, down = 6000 / 3605.55, 4000 / 3605.55
    settings = [
        Setting(f_number=4, geometry=geometry(wider_left=1.6 * across)),
        Setting(f_number=4, lens_turn_deg=90, geometry=geometry(wider_left=across, wider_top=-0.6 * down)),
    ]
    (test,) = judge_assembly(settings, CAMERA).turn_tests
    assert test.cause == "both"
    assert [part.value for part in test.stays] == pytest.approx([1, 0], abs=1e-6)
    assert [part.value for part in test.turns] == pytest.approx([0.6, 0], abs=1e-6)


def test_other_apertures_are_not_held_against_each_other():
    settings = [
        Setting(f_number=4, sharpness=edges(gain_x=0.3)),
        Setting(f_number=8, lens_turn_deg=180, sharpness=edges(gain_x=-0.3)),
    ]
    assert judge_assembly(settings, CAMERA).turn_tests == []


def test_a_full_turn_is_no_turn():
    settings = [Setting(f_number=4, lens_turn_deg=turn, sharpness=edges()) for turn in (0, 360)]
    assert judge_assembly(settings, CAMERA).turn_tests == []


def test_ways_in_words():
    assert way_in_words(np.array([1.0, 0.1])) == "right of"
    assert way_in_words(np.array([-1.0, -0.3])) == "left of"
    assert way_in_words(np.array([0.2, -1.0])) == "above"
    assert way_in_words(np.array([-1.0, 1.0])) == "below and left of"


# -- leans judged together ---------------------------------------------------------------------------------------


def rail(right=0.0, lower=0.0, half=0.002, sheet=0.0):
    def degrees(value):
        return Figure.of(value, half, "°")

    lean = FocusLean(degrees(sheet), degrees(0), (degrees(right), degrees(lower)))
    return Focus([], [], degrees(0), "farther", degrees(1), "t", 0.0, 0.0, lean=lean)


def test_a_lean_along_the_rail_is_told_with_side_angle_and_shim():
    setting = Setting(f_number=4, magnification=Figure.of(0.25, 0.001, "×"), focus=rail(right=0.4))
    verdict = judge_assembly([setting], CAMERA, flange_width_mm=50.0)
    (fault,) = verdict.faults
    assert (verdict.answer, fault.what, fault.whose, fault.side) == (
        "not straight",
        "lean",
        "lens or mount",
        "right",
    )
    assert fault.angle_deg.value == pytest.approx(0.4)
    # Tilting a lens by a tilts the plane of focus behind it by (1 + m) a (Scheimpflug's rule; Merklinger, Focusing
    # the View Camera, 1993, from memory): 50 mm tan(0.4°) / 1.25.
    assert fault.shim_mm.value == pytest.approx(0.2793, abs=1e-3)
    # Best focus lies too far away at the right: there the lens sits too near to the sensor. What is right in the
    # picture falls on the sensor's left, seen from behind the camera.
    assert "shim of 0.28 mm under the left of the flange, seen from behind the camera" in verdict.text


@pytest.mark.parametrize(
    ("turned", "seen", "whose"),
    [("lens", -0.4, "lens"), ("lens", 0.4, "mount or sensor"), ("front group", -0.4, "front group")],
)
def test_a_lean_belongs_to_what_it_turns_with(turned, seen, whose):
    size = Figure.of(0.25, 0.001, "×")
    settings = [
        Setting(f_number=4, magnification=size, focus=rail(right=0.4)),
        Setting(f_number=4, magnification=size, lens_turn_deg=180, turned=turned, focus=rail(right=seen)),
    ]
    verdict = judge_assembly(settings, CAMERA)
    assert verdict.answer == "not straight"
    assert [fault.whose for fault in verdict.faults] == [whose]


def test_all_centres_off_the_middle_are_a_fault_of_mount_or_sensor():
    setting = Setting(geometry=geometry(place(150, 0)), falloff=falloff_about(place(150, 0)))
    verdict = judge_assembly([setting], CAMERA)
    (fault,) = verdict.faults
    # 150 px of 6 µm.
    assert (fault.what, fault.whose, fault.side) == ("off the middle", "mount or sensor", "right")
    assert fault.offset.value == pytest.approx(0.9)
    assert "The mount may hold it there, or the sensor itself" in verdict.text


def test_centres_that_turn_as_one_are_a_lens_off_its_flanges_middle():
    """Straight in itself: 150 px of 6 µm, at the right and then, turned half round, at the left."""
    settings = [
        Setting(f_number=4, lens_turn_deg=turn, geometry=geometry(place(x, 0)), falloff=falloff_about(place(x, 0)))
        for turn, x in ((0, 150), (180, -150))
    ]
    verdict = judge_assembly(settings, CAMERA)
    (fault,) = verdict.faults
    assert (verdict.answer, fault.what, fault.whose) == ("straight", "off the middle", "lens")
    assert "the lens sits off the middle of its own flange" in verdict.text


@pytest.mark.parametrize(("beside", "answer"), [(True, "not straight"), (False, "can't tell")])
def test_one_centre_that_turns_is_a_part_off_its_axis_only_beside_one_that_does_not(beside, answer):
    settings = [
        Setting(
            f_number=4,
            lens_turn_deg=turn,
            geometry=geometry(place(x, 0)),
            falloff=falloff_about(place(0, 0)) if beside else None,
        )
        for turn, x in ((0, 150), (180, -150))
    ]
    assert judge_assembly(settings, CAMERA).answer == answer


@pytest.mark.parametrize(("sign", "answer"), [(1, "straight"), (-1, "not straight")])
def test_a_curved_field_off_the_middle_slopes_and_nothing_leans(sign, answer):
    """The middle of a bowl 1.35 mm deep on the rail at h = 1, 150 px to the right, slopes in the frame's.

    In half-diagonals of 21.63 mm at 0.25 ×: -2 · 1.35 / 16 · (150 / 3605.55) / 21.63, an angle of -0.0186°.
    """
    step = FieldStep(1.0, Figure.of(1.35, 0.02, "mm"), Figure.of(1.35, 0.02, "mm"))
    focus = structs.replace(rail(right=sign * -0.0186, half=0.001), field=[step])
    off = {"geometry": geometry(place(150, 0, half=2)), "falloff": falloff_about(place(150, 0, half=2))}
    size = Figure.of(0.25, 0.001, "×")
    assert judge_assembly([Setting(f_number=2.8, magnification=size, focus=focus, **off)], CAMERA).answer == answer


def test_centres_off_by_no_more_than_their_interval_are_no_fault():
    setting = Setting(geometry=geometry(place(150, 0, half=70)), falloff=falloff_about(place(150, 0, half=70)))
    assert judge_assembly([setting], CAMERA).faults == []


@pytest.mark.parametrize(("wider", "whose"), [(0.0, "mount or sensor"), (1.5, "target")])
def test_what_stays_is_the_cameras_where_the_target_stood_square(wider, whose):
    settings = [
        Setting(
            f_number=4,
            lens_turn_deg=turn,
            geometry=geometry(wider_left=wider),
            sharpness=edges(gain_x=0.3, seed=i),
        )
        for i, turn in enumerate((0, 180))
    ]
    assert judge_assembly(settings, CAMERA).softer_side.cause == whose
