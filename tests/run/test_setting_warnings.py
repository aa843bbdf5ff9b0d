"""What settings are warned of: short edges, focus, a leaning or bulging sheet, the print."""

import pytest
from msgspec.structs import replace

from lensbench.analysers.geometry import TargetShot, measure_geometry
from lensbench.dng import write_dng
from lensbench.findings import (
    Camera,
    EdgeSharpness,
    Figure,
    Limits,
    PrintBlur,
    Reason,
    Setting,
    Sharpness,
    ZoneLimits,
    ZoneSharpness,
)
from lensbench.loaders.session import load_session
from lensbench.run import measure_session
from lensbench.run._print_warnings import print_notices
from lensbench.run._setting_warnings import setting_notices
from lensbench.target.layout import write_layout
from lensbench.verdicts.focus._sheet_depth import judge_sheet_depth
from tests import spoiled_shots as shots
from tests.analysers.geometry.invented_lines import Camera as Stand
from tests.analysers.geometry.invented_lines import seen_lines, set_squares
from tests.spoiled_shots import taken

CAMERA = Camera((6000, 4000), (36.0, 24.0), 6.0)
LAYOUT = set_squares()


def geometry_of(rail_mm=None, **stand):
    """What geometry finds of a sheet 500 mm away seen at 0.1×, with two shots where a rail step is given."""
    shots = []
    for step in [0.0] if rail_mm is None else [0.0, rail_mm]:
        camera = Stand(distance=500.0 + step, **stand)
        shots.append(
            TargetShot(f"t{step:g}.dng", seen_lines(camera, LAYOUT, 0.01), False, step, 0.3 - step / 1000)
        )
    return measure_geometry(shots, LAYOUT, CAMERA.size_px, CAMERA.sensor_mm, LAYOUT.rulers_mm, 1.0)


def notices_of(setting, camera=CAMERA):
    notices, short = setting_notices(setting, camera, "green")
    return {notice.code: notice.text for notice in notices}, short


# -- a leaning sheet ------------------------------------------------------------------------------------------


def test_depth_against_the_lean_by_hand():
    # The frame takes in 360 × 240 mm; leaning by 3° over the width is 18.9 mm from side to side. Depth of field
    # 2 N c (1 + m) / m² with c = 12 µm, m = 0.1: 4.22 mm at f/1.6 (common practice).
    depth = judge_sheet_depth(geometry_of(rail_mm=60.0, right_away=3.0), 1.6, CAMERA.sensor_mm, 6.0)
    assert depth.distance_known
    assert depth.distance_mm == pytest.approx(500, rel=0.02)
    assert depth.right_away * depth.distance_mm == pytest.approx(18.9, rel=0.04)
    assert depth.depth_mm == pytest.approx(4.22, rel=0.01)
    assert depth.share == pytest.approx(18.9 / 4.22, rel=0.06)


def test_a_leaning_sheet_is_named_with_its_far_side_and_the_iris_that_would_do():
    setting = Setting(1.6, sharpness=Sharpness(), geometry=geometry_of(rail_mm=60.0, right_away=-3.0))
    said, short = notices_of(setting)
    # The left side lies farther; 1.6 × 18.9 / 4.22 = 7.2: f/8.
    assert "its left side lies 1" in said["tilted"]
    assert "close the iris to f/8" in said["tilted"]
    assert "depth of field is 4.2 mm" in said["tilted"]
    assert "if the lens stands" not in said["tilted"]
    assert short == ["the sheet's lean at the sides"]


def zones_of(mtf50):
    """Sharpness of one zone, which says how much blur shows."""
    figure = Figure.of(mtf50, 0.001, "cy/px")
    return Sharpness(zones=[ZoneSharpness("centre", "green", "mean", figure, None, 9)])


def test_a_small_lean_is_named_where_it_costs_sharpness():
    # By 1° over 360 mm: 6.3 mm from side to side; at f/4 (10.6 mm) the sides lie 0.6 half depths off, where blur
    # is 1.2 px wide, 0.3 px as a deviation; beside 0.187 / 0.25 = 0.75 px that takes 1 - 1 / √(1 + 0.4²) = 7 %.
    sheet = geometry_of(rail_mm=60.0, right_away=1.0)
    said, _ = notices_of(Setting(4.0, sharpness=zones_of(0.25), geometry=sheet))
    assert "its right side lies 6." in said["tilted"]
    assert "and still the corners lose some 7 %" in said["tilted"]
    assert notices_of(Setting(4.0, sharpness=zones_of(0.04), geometry=sheet)) == ({}, [])


def test_a_sheet_that_bulges_is_named_where_it_costs_sharpness():
    # A middle 2 mm nearer than the sides, 500 mm away: drawn 0.4 % larger. On 3606 px of half-diagonal a cylinder
    # leaves 0.046 times that, 0.66 px. At f/4, depth 10.6 mm, it lies 0.38 half depths off: blur of 0.19 px, 3 %.
    sheet = geometry_of(rail_mm=60.0)
    bulging = replace(sheet, distortion=replace(sheet.distortion, residual_px=Figure.of(0.7, 0.04, "px")))
    said, short = notices_of(Setting(4.0, sharpness=zones_of(0.25), geometry=bulging))
    assert "stood out or in by 2.0 mm" in said["not-flat"]
    assert "lose some 3 %" in said["not-flat"]
    assert short == ["a sheet that isn't flat"]
    assert notices_of(Setting(11.0, sharpness=zones_of(0.05), geometry=bulging)) == ({}, [])


def test_an_unknown_distance_is_said():
    setting = Setting(1.6, sharpness=Sharpness(), geometry=geometry_of(bottom_away=4.0))
    said, _ = notices_of(setting)
    # Leaning by 4° over 240 mm, 500 mm away: 16.8 mm, 3.4 %, the sure part of it 3.3 %; 4.22 / 0.033 = 127.
    assert "its bottom side is drawn 3.3 % smaller than its top one" in said["tilted"]
    assert "if the lens is more than 127 mm from it" in said["tilted"]


def test_a_sheet_within_the_depth_of_field_is_left_alone():
    for geometry in (geometry_of(rail_mm=60.0, right_away=3.0), geometry_of()):
        assert notices_of(Setting(11.0, sharpness=Sharpness(), geometry=geometry)) == ({}, [])


def test_nothing_is_said_of_a_lean_without_aperture_or_sensor():
    geometry = geometry_of(right_away=6.0)
    assert notices_of(Setting(None, sharpness=Sharpness(), geometry=geometry)) == ({}, [])
    unscaled = replace(geometry, magnification=None)
    assert notices_of(Setting(1.4, sharpness=Sharpness(), geometry=unscaled)) == ({}, [])


# -- edges and print ------------------------------------------------------------------------------------------


def edge(reason):
    figure = None if reason else Figure.of(0.2, 0.01, "cy/px")
    return EdgeSharpness(
        0, 0, "along", "sagittal", "green", 1.0, 1.0, 0.1, 5.0, figure, not reason, reason, "t.dng"
    )


@pytest.mark.parametrize(("short", "warned"), [(3, False), (15, True)])
def test_many_short_edges_are_worth_a_word(short, warned):
    edges = [edge(Reason.TOO_SHORT) for _ in range(short)] + [edge(Reason.NONE) for _ in range(100 - short)]
    said, _ = notices_of(Setting(4.0, sharpness=Sharpness(edges=edges)))
    assert ("short-edges" in said) == warned
    if warned:
        assert said["short-edges"].startswith("t.dng: 15 of 100 edges are too short")


@pytest.mark.parametrize(
    ("source", "words"), [("raggedness", "ragged by 0.58 px"), ("dots", "dots are 2.01 px wide")]
)
def test_a_coarse_print_is_named(source, words):
    zone = ZoneLimits("centre", "green", "mean", lost_to_print_percent=9.4)
    limits = Limits([zone], print_blur=PrintBlur(Figure.of(0.58, 0.01, "px"), source), print_limited=["centre"])
    setting = Setting(4.0, sharpness=Sharpness(), limits=limits)
    (notice,) = print_notices([setting])
    assert words in notice.text
    assert notice.text.startswith("f/4: the print limits sharpness in 1 zone: ")
    assert "MTF50 of the centre zone would be 9 % higher" in notice.text
    assert notices_of(setting) == ({}, ["the print"])


def test_of_many_settings_that_the_print_limits_the_worst_is_told():
    def limited(f_number, percent):
        zones = [ZoneLimits("centre", "green", "mean", lost_to_print_percent=percent)]
        blur = PrintBlur(Figure.of(0.27, 0.01, "px"), "dots")
        limits = Limits(zones, print_blur=blur, print_limited=["centre"] if percent > 5 else [])
        return Setting(f_number, sharpness=Sharpness(), limits=limits)

    (notice,) = print_notices([limited(4.0, 12.2), limited(5.6, 34.4), limited(8.0, 3.0)])
    assert notice.text.startswith("f/4 and f/5.6: the print limits sharpness")
    assert "centre zone at f/5.6 would be 34 % higher" in notice.text
    (notice,) = print_notices([limited(f_number, 10.0) for f_number in (2.0, 2.8, 4.0, 5.6, 8.0, 11.0)])
    assert notice.text.startswith("6 of 6 settings: ")
    assert print_notices([limited(8.0, 3.0), Setting(4.0)]) == []


def test_a_setting_without_targets_is_left_alone():
    assert notices_of(Setting(4.0)) == ({}, [])


# -- a whole session ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scene", "codes", "caveats"),
    [
        ({}, set(), []),
        ({"motion_px": (1.5, -1.2)}, {"motion"}, ["motion of about"]),
    ],
    ids=["good", "shaken"],
)
def test_a_session_says_beside_its_figures_what_spoils_them(tmp_path, scene, codes, caveats):
    seen = taken("comatic", **scene)
    write_dng(tmp_path / "t.dng", seen.shot)
    write_layout(tmp_path / "target.json", shots.LAYOUT)
    (tmp_path / "session.toml").write_text(
        f"""
        [build]
        name = "Shaken or not"
        [camera]
        sensor_mm = {list(shots.SENSOR_MM)}
        [target]
        layout = "target.json"
        rulers_measured_mm = {[round(r, 1) for r in shots.LAYOUT.rulers_mm]}
        print_dpi = 2400
        [[shot]]
        file = "t.dng"
        shows = "target"
        f_number = 4
        """
    )
    report = measure_session(load_session(tmp_path), workers=1)
    (setting,) = report.settings
    assert {notice.code for notice in report.warnings} == codes
    assert [
        words[: len(start)] for words, start in zip(setting.sharpness.caveats, caveats, strict=True)
    ] == caveats
    # 4 (1 + 0.12); the comatic lens is soft at f/4.
    assert setting.limits.effective_f_number == pytest.approx(4.48, abs=0.01)
    centre = next(z for z in setting.limits.zones if z.zone == "centre" and z.direction == "mean")
    assert 30 < centre.achieved_percent.value < 90
    assert centre.lens_only_mtf50 is not None


# -- shots that weren't taken alike ---------------------------------------------------------------------------


def sharp_edges(shot, mtf50):
    figure = Figure.of(mtf50, 0.002, "cy/px")
    return [
        EdgeSharpness(column, 0, "along", "sagittal", "green", 0.0, 0.0, 0.5, 5.0, figure, used=True, shot=shot)
        for column in range(5)
    ]


@pytest.mark.parametrize(("softer", "told"), [(0.30, 25), (0.388, 3), (0.396, None)])
def test_shots_of_one_setting_that_are_not_alike_are_named(softer, told):
    edges = [*sharp_edges("sharp.dng", 0.4), *sharp_edges("soft.dng", softer)]
    said, _ = notices_of(Setting(sharpness=Sharpness(edges=edges)))
    assert ("unlike" in said) is bool(told)
    if told:
        assert said["unlike"].startswith(f"soft.dng: is {told} % softer than sharp.dng")


def test_a_few_uncertain_edges_do_not_make_shots_unlike():
    wide = [
        replace(edge, mtf50=Figure.of(value, 0.05, "cy/px"))
        for value, name in ((0.4, "sharp.dng"), (0.385, "soft.dng"))
        for edge in sharp_edges(name, value)
    ]
    assert "unlike" not in notices_of(Setting(sharpness=Sharpness(edges=wide)))[0]


def test_different_tiles_of_two_shots_are_not_held_against_each_other():
    other = [replace(edge, column=9) for edge in sharp_edges("soft.dng", 0.1)]
    assert notices_of(Setting(sharpness=Sharpness(edges=[*sharp_edges("sharp.dng", 0.4), *other])))[0] == {}
