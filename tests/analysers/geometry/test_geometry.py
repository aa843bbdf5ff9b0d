"""Magnification, distortion, tilt and field of view, against a pinhole camera and against the outside."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from lensbench import optics
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.analysers.geometry._fitting import fit_mapping
from lensbench.analysers.geometry._rulers import Rulers
from lensbench.errors import BenchError
from tests.analysers.geometry.invented_lines import (
    SIZE,
    Camera,
    no_distortion,
    radial_distortion,
    seen_lines,
    set_squares,
)

SENSOR = (36.0, 24.0)
LAYOUT = set_squares()
EXACT = Rulers(np.ones(2), np.full(2, 1e-5))
PLAIN = Rulers.measured(LAYOUT, LAYOUT.rulers_mm)
UNIT = float(np.hypot(*SIZE)) / 2


def fisheye(radius):
    """Draws corners at about half their size; not a polynomial."""
    return np.arctan(1.2 * radius) / 1.2


def fitted(camera, layout=LAYOUT, noise_px=0.02, rulers=EXACT, **more):
    return fit_mapping(seen_lines(camera, layout, noise_px, **more), layout, SIZE, rulers)


def distortion_error(fit, distorted):
    """Largest error of the radial curve over the frame, in half-diagonals."""
    ideal = np.linspace(0, 3, 30001)
    radius = distorted(ideal)
    seen = (radius <= 1) & (np.diff(radius, append=np.inf) > 0)
    return np.abs(fit.mapping.distorted_radius(ideal[seen]) - radius[seen]).max()


def shot(camera, rail_mm=None, name="t.dng", layout=LAYOUT, noise_px=0.02, seed=1, **more):
    return TargetShot(name, seen_lines(camera, layout, noise_px, seed=seed), rail_mm=rail_mm, **more)


def measured(*shots, layout=LAYOUT, rulers=LAYOUT.rulers_mm, sensor=SENSOR, **more):
    return measure_geometry(shots, layout, SIZE, sensor, rulers, **more)


# -- one shot -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "camera"),
    [
        ("straight", Camera()),
        (
            "barrel, turned, tilted",
            Camera(distorted=radial_distortion(-0.03), turn=5, right_away=2, bottom_away=-1),
        ),
        ("wave", Camera(distorted=radial_distortion(-0.06, 0.05), turn=-9, right_away=5)),
        ("decentred", Camera(distorted=radial_distortion(-0.06), axis_px=(3100, 1900))),
        ("shifted", Camera(distorted=radial_distortion(0.02), shift_mm=(25, -13), turn=3)),
        ("strong cushion", Camera(distorted=radial_distortion(0.3), distance=700)),
        ("tilted by 10 degrees", Camera(distorted=radial_distortion(-0.03), right_away=10)),
        ("upside down", Camera(distorted=radial_distortion(-0.03), turn=178)),
    ],
)
def test_scale_and_distortion_hold_the_bars(name, camera):
    fit = fitted(camera)
    paraxial = camera.image_mm / camera.pitch_mm / camera.distance
    at_axis = float(fit.mapping.scale(np.asarray(camera.axis_px)))
    assert at_axis == pytest.approx(paraxial, rel=2e-4)
    assert distortion_error(fit, camera.distorted) < 2e-4
    assert np.degrees(fit.mapping.turn) == pytest.approx(camera.turn, abs=0.002)
    if camera.distorted is not no_distortion:
        assert fit.mapping.centre == pytest.approx(camera.axis_px, abs=2.0)


def test_a_distortion_that_few_terms_follow_badly_is_found():
    """With one term the fit of this one diverges, and none of the later ones may start from there."""
    camera = Camera(
        distorted=radial_distortion(-0.2, 0.1),
        right_away=0.09,
        bottom_away=-0.08,
        shift_mm=(-1.8, -0.9),
        axis_px=(2850, 2009),
    )
    fit = fitted(camera, rulers=PLAIN, noise_px=0.0066, print_mm=0.0001, seed=7)
    assert np.sqrt(np.mean(fit.residual**2)) < 0.01
    assert distortion_error(fit, camera.distorted) < 2e-4


def test_a_wave_that_is_centred_far_off_is_found():
    """Followed by one term it would draw its centre to the corner, and there the fit would stay."""
    camera = Camera(
        distance=457.28, turn=0.751, right_away=2.746, bottom_away=1.502, shift_mm=(-4.105, 2.993),
        axis_px=(2508.0, 1820.5), distorted=radial_distortion(-0.06, 0.05),
    )  # fmt: skip
    fit = fitted(camera, rulers=PLAIN, noise_px=0.0133, print_mm=0.00014, seed=1134)
    assert np.sqrt(np.mean(fit.residual**2)) < 0.02
    assert distortion_error(fit, camera.distorted) < 2e-4


def test_corners_drawn_at_half_their_size():
    layout = set_squares(29, 25)
    fit = fitted(Camera(distorted=fisheye, distance=400, turn=10, right_away=10), layout, noise_px=0.05)
    assert distortion_error(fit, fisheye) < 2e-4


def test_ink_spread_does_not_leak_into_scale():
    plain = fitted(Camera(distorted=radial_distortion(-0.03)))
    inked = fitted(Camera(distorted=radial_distortion(-0.03)), ink_mm=0.08)
    middle = np.array([2999.5, 1999.5])
    assert inked.mapping.scale(middle) == pytest.approx(float(plain.mapping.scale(middle)), rel=1e-5)
    assert inked.mapping.theta[11] == pytest.approx(0.08, abs=0.001)


def test_faulty_edges_are_rejected():
    lines = seen_lines(Camera(distorted=radial_distortion(-0.03)), LAYOUT, 0.02)
    point = lines.point.copy()
    point[::9] += 3 * lines.normal[::9]
    fit = fit_mapping(replace(lines, point=point), LAYOUT, SIZE, EXACT)
    assert not fit.used[::9].any()
    assert fit.used.mean() > 0.88
    assert distortion_error(fit, radial_distortion(-0.03)) < 2e-4


def test_mirrored_print_is_read_from_its_back():
    mirrored = replace(LAYOUT, corners_mm=LAYOUT.corners_mm * np.array([-1.0, 1.0]))
    lines = seen_lines(Camera(distorted=radial_distortion(-0.03), turn=4), mirrored, 0.02)
    fit = fit_mapping(lines, LAYOUT, SIZE, EXACT, mirrored=True)
    assert np.degrees(fit.mapping.turn) == pytest.approx(4, abs=0.002)
    assert fit.used.all()


@pytest.mark.parametrize(("upright", "level"), [(8.0, 8.0), (8.0, -5.0), (-6.0, 0.0)])
def test_the_turn_of_a_target_that_is_tilted_both_ways(upright, level):
    """Turned about its own upright and then about the camera's level axis, never about the camera's own: and yet a
    small sheet in the middle looks turned, by the angle of the rotation in its picture's polar decomposition. That
    is half of the product of the two tilts, to second order (0.56° for 8° and 8°), and that is the turn reported.
    """
    a, b = np.radians([upright, level])
    about_upright = np.array([[np.cos(a), 0, -np.sin(a)], [0, 1, 0], [np.sin(a), 0, np.cos(a)]])
    about_level = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    placed = about_level @ about_upright

    class Twice(Camera):
        def picture(self, sheet_mm):
            space = sheet_mm @ placed[:, :2].T + np.array([0, 0, self.distance])
            return space[..., :2] / space[..., 2:] * self.image_mm / self.pitch_mm + np.asarray(self.axis_px)

    # x right, y down: from x towards y is clockwise as seen, and anticlockwise counts.
    seen = placed[:2, :2]
    clockwise = np.arctan2(seen[1, 0] - seen[0, 1], seen[0, 0] + seen[1, 1])
    assert np.degrees(clockwise) == pytest.approx(-np.degrees(a * b / 2), abs=0.01)
    assert np.degrees(fitted(Twice()).mapping.turn) == pytest.approx(-np.degrees(clockwise), abs=0.004)


def test_brown_decentring_is_told_and_taken_up():
    skew = np.array([0.0008, -0.0005])

    class Skewed(Camera):
        def picture(self, sheet_mm):
            q = (super().picture(sheet_mm) - self.axis_px) / UNIT
            square = np.square(q).sum(axis=-1, keepdims=True)
            return self.axis_px + UNIT * (q + square * skew + 2 * (q @ skew)[..., None] * q)

    fit = fitted(Skewed())
    # The model runs the other way, from the picture to the sheet.
    assert fit.mapping.decentring == pytest.approx(-skew, abs=3e-5)
    assert np.sqrt(np.mean(fit.residual**2)) < 0.03


def test_rulers_scale_each_way_and_enter_the_interval():
    longer = LAYOUT.rulers_mm[0] * 1.004, LAYOUT.rulers_mm[1] * 0.998
    printed = replace(LAYOUT, corners_mm=LAYOUT.corners_mm * np.array([1.004, 0.998]))
    found = measured(shot(Camera(), layout=printed), rulers=longer)
    assert found.magnification.value == pytest.approx(0.1, rel=1e-4)
    assert found.magnification.low < 0.1 < found.magnification.high
    # ± 0.2 mm on rulers of 462 and 330 mm, each a half of the scale.
    expected = 0.1 * 1.96 * 0.1 * np.hypot(1 / 462, 1 / 330) / 2
    assert found.magnification.half_width == pytest.approx(expected, rel=0.1)


def test_misread_rulers_are_noticed():
    printed = replace(LAYOUT, corners_mm=LAYOUT.corners_mm * np.array([1.01, 1.0]))
    assert any("Measure both bars again" in note for note in measured(shot(Camera(), layout=printed)).notes)
    assert not any("Measure both bars again" in note for note in measured(shot(Camera())).notes)


def test_swapped_rulers_give_no_size():
    """Bars of 462 and 330 mm swapped: everything but sizes is still measured."""
    found = measured(shot(Camera(distorted=radial_distortion(-0.03))), rulers=LAYOUT.rulers_mm[::-1])
    assert found.magnification is None
    assert found.scale_px_mm is None
    assert found.covers_mm is None
    assert any("Measure both bars again" in note for note in found.notes)
    assert found.distortion.curve[-1].percent.value == pytest.approx(
        measured(shot(Camera(distorted=radial_distortion(-0.03)))).distortion.curve[-1].percent.value, abs=0.02
    )


@pytest.mark.parametrize("factors", [(1.7, 0.6), (1.2, 1.0), (1.0, 0.9), (1.05, 0.97)])
def test_misread_rulers_give_no_size_however_much(factors):
    rulers = tuple(length * factor for length, factor in zip(LAYOUT.rulers_mm, factors, strict=True))
    found = measured(shot(Camera(distorted=radial_distortion(-0.03)), noise_px=0.05), rulers=rulers)
    assert found.magnification is None
    assert found.alignment.wider_left_percent.value == pytest.approx(0, abs=0.02)


def test_a_ruler_misread_a_little_widens_the_interval_over_the_truth():
    """One bar read 2 mm short of 462 mm: 0.4 %, with intervals that must still hold the magnification."""
    rulers = LAYOUT.rulers_mm[0] - 2.0, LAYOUT.rulers_mm[1]
    found, right = (measured(shot(Camera()), rulers=r).magnification for r in (rulers, LAYOUT.rulers_mm))
    assert found.low <= right.value <= found.high
    assert found.half_width > 3 * right.half_width


def test_unmeasured_rulers_leave_one_percent():
    found = measured(shot(Camera()), rulers=None)
    assert found.magnification.half_width / found.magnification.value == pytest.approx(0.007, rel=0.1)
    assert any("ruler" in note for note in found.notes)


def test_without_a_sensor_size_there_is_no_magnification():
    found = measured(shot(Camera(distorted=radial_distortion(-0.03))), sensor=None)
    assert found.magnification is None
    assert found.scale_px_mm.value == pytest.approx(50 / 0.006 / 500, rel=1e-4)
    assert found.distortion_percent.value == pytest.approx(-3.3, abs=0.1)
    assert any("sensor" in note for note in found.notes)


def test_an_impossible_sensor_size_is_named():
    found = measured(shot(Camera()), sensor=(36.0, 20.0))
    assert found.magnification is None
    assert found.scale_px_mm is not None
    assert any("doesn't fit" in note and "20 % longer" in note for note in found.notes)


def test_a_rounded_sensor_size_is_borne_with():
    """36 × 23.6 mm of a data sheet on 3:2: 1.7 % apart, half of which the magnification doesn't know."""
    found = measured(shot(Camera()), sensor=(36.0, 23.6))
    assert found.magnification.half_width / found.magnification.value == pytest.approx(0.0084, rel=0.1)
    assert any("Check sensor_mm" in note for note in found.notes)


def test_one_shot_tells_how_much_is_seen_but_not_how_wide():
    found = measured(shot(Camera()))
    across, down = found.covers_mm
    assert (across.value, down.value) == pytest.approx((360, 240), rel=1e-4)
    assert found.field_of_view_deg is None
    assert found.target_tilt_deg is None
    assert any("rail" in note for note in found.notes)


def test_too_few_edges_give_a_note_and_no_figures():
    lines = seen_lines(Camera(), LAYOUT, 0.02)
    few = Lines(*(getattr(lines, name)[:20] for name in ("column", "row", "leg", "point", "normal", "sigma")))
    with pytest.raises(BenchError, match="20 edges"):
        fit_mapping(few, LAYOUT, SIZE, EXACT)
    found = measured(TargetShot("few.dng", few))
    assert found.magnification is None
    assert any(note.startswith("few.dng: only 20 edges") for note in found.notes)


@pytest.mark.parametrize(
    ("terms", "shape"), [((), "none"), ((-0.02,), "barrel"), ((0.02,), "cushion"), ((-0.06, 0.05), "wave")]
)
def test_distortion_in_a_word(terms, shape):
    assert measured(shot(Camera(distorted=radial_distortion(*terms)))).distortion.shape == shape


def test_bow_of_a_line_along_the_top():
    # A line through both upper corners of a barrel picture: its middle lies farther out than its ends.
    camera = Camera(distorted=radial_distortion(-0.04))
    ideal = np.linspace(0, 2, 200001)
    corner = np.interp(1.0, camera.distorted(ideal), ideal) * 4000 / np.hypot(*SIZE)
    middle = float(camera.distorted(np.array(corner))) * UNIT
    expected = 100 * (2000 - middle) / 4000
    assert measured(shot(camera)).distortion.bow_percent.value == pytest.approx(expected, abs=0.005)


def test_a_target_that_leaves_the_corners_empty_gives_no_corner_figure():
    small = set_squares(15, 11, 16.0)
    found = measured(
        shot(Camera(distorted=radial_distortion(-0.03)), layout=small), layout=small, rulers=small.rulers_mm
    )
    assert found.distortion_percent is None
    assert found.distortion.bow_percent is None
    reached = found.distortion.curve[-1]
    assert 0.5 < reached.h < 0.8
    assert reached.percent.value == pytest.approx(-100 * 0.03 * reached.h**2, rel=0.1)
    assert any("Fill the frame" in note for note in found.notes)


def test_weak_distortion_has_no_centre_and_says_so():
    found = measured(shot(Camera(), noise_px=0.3))
    assert found.distortion.centre_px is None
    assert found.distortion.shape == "none"


@pytest.fixture(scope="module")
def held():
    """Whether the intervals of 100 shots of a small sheet hold the truth, by figure: those by noise alone.

    Besides, a shot of one colour can't tell what asymmetric blur moves its centre by; this lens has none.
    """
    layout = set_squares(13, 9, 36.0)
    camera = Camera(distorted=radial_distortion(-0.02), turn=2, right_away=1)
    ideal = np.linspace(0, 1.2, 12001)
    ratio = np.interp(0.9, camera.distorted(ideal), ideal) / 0.9
    truth = np.array([np.radians(2), 2999.5, 1999.5, 50 / 0.006 / 500, 1 / ratio])
    rows = []
    for seed in range(100):
        fit = fitted(camera, layout, noise_px=0.1, seed=seed, print_mm=0.01)
        values, own, _ = replace(fit, blur=0 * fit.blur).value_and_sigmas(
            lambda m: np.array(
                [m.turn, *m.centre, m.scale(np.array([2999.5, 1999.5])), 1 / m.undistorted_ratio(0.9)]
            )
        )
        rows.append(np.abs(values - truth) <= 1.96 * own)
    return dict(zip(("turn", "centre x", "centre y", "scale", "distortion"), np.array(rows).T, strict=True))


def test_intervals_of_turn_and_centre_hold_the_truth(held):
    assert 0.93 <= np.mean([held["turn"], held["centre x"], held["centre y"]]) <= 0.97


@pytest.mark.parametrize("figure", ["scale", "distortion"])
def test_intervals_of_scale_and_distortion_hold_the_truth(held, figure):
    assert 0.93 <= np.mean(held[figure]) <= 0.97


# -- rail -----------------------------------------------------------------------------------------------------


def rail_pair(image_mm, first_mm, step_mm, layout, **more):
    one = Camera(distance=first_mm, image_mm=image_mm, **more)
    two = replace(one, distance=first_mm + step_mm)
    return [shot(one, 0.0, "a.dng", layout, mtf50=0.2), shot(two, step_mm, "b.dng", layout, seed=2, mtf50=0.1)]


def test_a_20_mm_lens_at_life_size_sees_56_8_degrees():
    # Close up the image distance is f (1 + m / P): 20 mm at 1× sees 2 arctan(21.633 / 40) (handbook formula).
    layout = set_squares(pitch_mm=2.4)
    found = measured(*rail_pair(40.0, 40.0, 8.0, layout), layout=layout, rulers=layout.rulers_mm)
    assert found.magnification.value == pytest.approx(1.0, rel=2e-4)
    assert found.field_of_view_deg.value == pytest.approx(56.8, abs=0.2)
    assert found.view.image_distance_mm.value == pytest.approx(40.0, rel=0.005)
    assert found.view.focal_length_mm.value == pytest.approx(20.0, rel=0.005)
    assert found.view.pupil_to_target_mm.value == pytest.approx(40.0, rel=0.005)
    # A reading error of 0.05 mm at both ends of 8 mm.
    spread = 1.96 * 0.05 * np.sqrt(2) / 8
    assert found.view.pupil_to_target_mm.half_width / 40 == pytest.approx(spread, rel=0.1)


def test_pupil_ratio_enters_the_focal_length_only():
    # m = 0.5, P = 2: the image distance over P is f (1 + 0.25).
    layout = set_squares(pitch_mm=4.8)
    pair = rail_pair(50.0 * 1.25, 50.0 * 1.25 / 0.5, 20.0, layout)
    found = measured(*pair, layout=layout, rulers=layout.rulers_mm, pupil_ratio=2.0)
    assert found.magnification.value == pytest.approx(0.5, rel=2e-4)
    assert found.view.focal_length_mm.value == pytest.approx(50.0, rel=0.002)
    assert found.field_of_view_deg.value == pytest.approx(
        float(optics.field_angle_deg(np.hypot(36, 24), 62.5)), abs=0.05
    )


def test_the_rail_may_count_either_way():
    layout = set_squares(pitch_mm=2.4)
    pair = rail_pair(40.0, 40.0, 8.0, layout)
    other = [replace(s, rail_mm=120.0 - s.rail_mm) for s in pair]
    one, two = (measured(*p, layout=layout, rulers=layout.rulers_mm) for p in (pair, other))
    assert one.field_of_view_deg.value == pytest.approx(two.field_of_view_deg.value, rel=1e-9)


def test_a_known_distance_gives_the_tilt_as_an_angle():
    found = measured(
        *rail_pair(
            50.0, 500.0, 100.0, LAYOUT, right_away=1.5, bottom_away=-0.7, distorted=radial_distortion(-0.02)
        )
    )
    assert found.alignment.right_away_deg.value == pytest.approx(1.5, abs=0.01)
    assert found.alignment.bottom_away_deg.value == pytest.approx(-0.7, abs=0.01)
    assert found.target_tilt_deg.value == pytest.approx(np.hypot(1.5, 0.7), abs=0.01)


def test_distortion_widens_what_the_frame_sees():
    straight = measured(*rail_pair(50.0, 500.0, 100.0, LAYOUT))
    barrel = measured(*rail_pair(50.0, 500.0, 100.0, LAYOUT, distorted=radial_distortion(-0.05)))
    assert barrel.field_of_view_deg.value > straight.field_of_view_deg.value + 1


def test_a_rail_that_runs_askew_is_allowed_for():
    # The camera moves 3° off its axis: 100 mm of rail are 99.863 mm of distance and 5.23 mm sideways.
    one = Camera(distance=500.0, image_mm=50.0)
    two = replace(one, distance=500.0 + 100 * np.cos(np.radians(3)), shift_mm=(100 * np.sin(np.radians(3)), 0.0))
    found = measured(shot(one, 0.0, "a.dng"), shot(two, 100.0, "b.dng", seed=2))
    assert found.view.image_distance_mm.value == pytest.approx(50.0, rel=3e-4)


def test_a_step_too_short_is_refused():
    found = measured(*rail_pair(50.0, 500.0, 0.3, LAYOUT))
    assert found.view is None
    assert any("longer step" in note for note in found.notes)


def test_a_touched_focus_is_noticed():
    shots = [shot(Camera(distance=500 + d), float(d), f"{d}.dng", seed=d + 1) for d in (0, 40, 80)]
    shots[1] = shot(Camera(distance=540, image_mm=50.4), 40.0, "40.dng")
    found = measured(*shots)
    assert any("focus was touched" in note for note in found.notes)


def test_handbook_field_angles_come_out_of_the_measured_image_distance():
    # Diagonal field of a rectilinear 50 mm lens on 36 × 24 mm at infinity: 46.8° (handbook tables); the same lens
    # at m = 0.1 sees what its image distance of 55 mm says.
    pair = rail_pair(55.0, 550.0, 110.0, LAYOUT)
    found = measured(*pair)
    focal = found.view.focal_length_mm.value
    assert 2 * np.degrees(np.arctan(21.633 / focal)) == pytest.approx(46.8, abs=0.1)


# -- OpenCV on the same points --------------------------------------------------------------------------------


def corners_from_lines(lines):
    """The corners where a tile's measured lines meet, with the tile's lattice place: what OpenCV is given."""
    seen, places = [], []
    for place in np.unique(np.stack([lines.column, lines.row], axis=1), axis=0):
        own = np.flatnonzero((lines.column == place[0]) & (lines.row == place[1]))
        if len(own) < 3:
            continue
        order = own[np.argsort(lines.leg[own])]
        normal, reach = lines.normal[order], (lines.normal[order] * lines.point[order]).sum(axis=1)
        for a, b, corner in ((0, 1, 0), (0, 2, 1), (1, 2, 2)):
            seen.append(np.linalg.solve(normal[[a, b]], reach[[a, b]]))
            places.append((*place, corner))
    return np.array(seen), np.array(places)


def sheet_points(places, layout):
    index = places[:, 1] * layout.columns + places[:, 0]
    flat = layout.corners_mm[index, places[:, 2]]
    return np.concatenate([flat, np.zeros((len(flat), 1))], axis=1).astype(np.float32)


def test_distortion_and_image_distance_agree_with_opencv():
    distorted = radial_distortion(-0.05)
    base = Camera(distorted=distorted)
    views = [
        base,
        replace(base, right_away=12, distance=520),
        replace(base, bottom_away=-12, turn=20, distance=530),
    ]
    lines = [seen_lines(camera, LAYOUT, 0.02, seed=i) for i, camera in enumerate(views)]
    seen, places = zip(*(corners_from_lines(part) for part in lines), strict=True)
    start = np.array([[8000.0, 0, 2999.5], [0, 8000.0, 1999.5], [0, 0, 1]])
    flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST
    _, matrix, distortion, _, _ = cv2.calibrateCamera(
        [sheet_points(part, LAYOUT) for part in places],
        [part.astype(np.float32) for part in seen],
        SIZE, start, None, flags=flags,
    )  # fmt: skip
    fit = fit_mapping(lines[0], LAYOUT, SIZE, EXACT)
    # The distortion curve: where a point at h = 0.9 along a ray would lie without distortion.
    points = np.asarray(base.axis_px) + 0.9 * UNIT * np.array(
        [[np.cos(a), np.sin(a)] for a in (0.3, 2.0, 4.0, 5.5)]
    )
    ideal = np.interp(0.9, distorted(np.linspace(0, 1.3, 13001)), np.linspace(0, 1.3, 13001))
    theirs = cv2.undistortPoints(points[:, None], matrix, distortion)[:, 0]
    # OpenCV's unit is the image distance, which it fits too; ours is the half-diagonal.
    theirs = np.hypot(*theirs.T) * matrix[0, 0] / UNIT
    ours = np.hypot(*fit.mapping.undistorted(points).T)
    assert theirs == pytest.approx(ours, abs=3e-4)
    assert np.abs(ours - ideal).max() < 2e-4
    # The image distance that OpenCV needs three views for is the one that the rail gives.
    pair = rail_pair(50.0, 500.0, 100.0, LAYOUT, distorted=distorted)
    assert measured(*pair).view.image_distance_px.value == pytest.approx(matrix[0, 0], rel=2e-3)


def test_a_distortion_that_the_model_cannot_follow_is_in_the_interval():
    """A picture drawn 41 % smaller at its corners, whose distortion turns back on its way out."""
    camera, wide = Camera(distorted=radial_distortion(-0.3, 0.06), distance=900), set_squares(47, 33)
    found = measured(shot(camera, layout=wide), layout=wide, rulers=wide.rulers_mm)
    truth = camera.image_mm / camera.distance
    assert found.magnification.low <= truth <= found.magnification.high


def test_a_curve_that_few_tiles_follow_badly_is_as_sure_as_the_curve():
    """A further term would change the others much, and the curve that all of them draw together but little."""
    few = set_squares(9, 5, pitch_mm=44.0)
    camera = Camera(distorted=radial_distortion(-0.06, 0.05, -0.03))
    found = measured(shot(camera, layout=few, noise_px=0.002), layout=few, rulers=few.rulers_mm)
    ideal = np.linspace(0.01, 1.2, 120001)
    for point in found.distortion.curve:
        undistorted = ideal[np.argmax(camera.distorted(ideal) >= point.h)]
        assert point.percent.low < 100 * (point.h / undistorted - 1) < point.percent.high
        assert point.percent.half_width < 0.1
