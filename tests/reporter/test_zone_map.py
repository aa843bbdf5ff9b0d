"""The zone map: what it fills, points and writes, for reports full and empty."""

import imageio.v3 as iio
import msgspec
import numpy as np
import pytest
from matplotlib.patches import FancyArrowPatch, Polygon
from matplotlib.text import Text

from lensbench import frame
from lensbench.findings import Build, Camera, Dust, Figure, Report, Setting
from lensbench.findings.goals import Goal, GradedGoal, Grades
from lensbench.findings.light import LENS_AND_LIGHT
from lensbench.reporter.plots import canvas, frame_parts, style, zone_map, zone_map_key
from lensbench.reporter.plots.falloff_and_marks import draw_light, stops_in_thirds
from lensbench.reporter.plots.fringing import draw_fringing
from lensbench.reporter.plots.zone_map import shown_settings, zone_map_margins_px, zone_map_png
from lensbench.reporter.plots.zone_sharpness import draw_sharpness
from lensbench.reporter.values.fringing import arrow_scale
from lensbench.reporter.values.sharpness import sharpness_ceiling
from lensbench.reporter.words.captions import light_in_few_words
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1200, 800)


@pytest.fixture(scope="module")
def report():
    return invented_report((2.8, 5.6), SIZE)


def panel(draw, *arguments):
    sheet = canvas.new_drawing(6, 4)
    axes = canvas.axes_in(sheet, 0, 0, 6, 4)
    draw(axes, *arguments)
    return sheet, axes


def test_zones_are_filled_by_their_figure(report):
    """The picture's own colours at each zone, read back."""
    setting = report.settings[1]
    sheet, _ = panel(draw_sharpness, report, setting)
    sheet.canvas.draw()
    picture = np.asarray(sheet.canvas.buffer_rgba())[..., :3]
    figures = {
        z.zone: z.mtf50_lp_mm.value
        for z in setting.sharpness.zones
        if (z.channel, z.direction) == ("green", "mean")
    }
    for zone, value in figures.items():
        expected = 255 * np.array(style.colour_of(value / sharpness_ceiling(report))[:3])
        inside = picture[::1, ::1].reshape(-1, 3)
        assert (np.abs(inside - expected).max(axis=1) <= 1.5).mean() > 0.01, zone


def test_legs_are_as_long_as_their_figures(report):
    """The right angle lies at the set square's second corner ends: leg lengths in the ratio of the figures."""
    setting = report.settings[0]
    _, axes = panel(draw_sharpness, report, setting)
    squares = [patch for patch in axes.patches if isinstance(patch, Polygon)]
    figures = {(z.zone, z.direction): z.mtf50.value for z in setting.sharpness.zones if z.channel == "green"}
    assert len(squares) == len(frame.ZONES)
    for zone, square in zip(frame.ZONES, squares, strict=True):
        corner, first, second = square.get_xy()[:3]
        legs = first - corner, second - corner
        assert legs[0] @ legs[1] == pytest.approx(0, abs=1e-6)
        ratio = np.hypot(*legs[0]) / np.hypot(*legs[1])
        assert ratio == pytest.approx(figures[zone, "sagittal"] / figures[zone, "tangential"], rel=1e-6)
        if zone != "centre":
            outward, _ = frame.radial_axes(*frame_parts.zone_anchor(zone, SIZE), SIZE)
            assert legs[0] @ outward == pytest.approx(np.hypot(*legs[0]))


def test_arrows_point_where_the_colour_lands(report):
    setting = report.settings[0]
    tile = max(setting.fringing.tiles, key=lambda tile: tile.blue.dx.value)
    _, axes = panel(draw_fringing, report, Setting(fringing=type(setting.fringing)([tile])))
    red, blue = [child for child in axes.get_children() if isinstance(child, FancyArrowPatch)]
    for arrow, shift in ((red, tile.red), (blue, tile.blue)):
        start, end = map(np.array, arrow._posA_posB)
        assert (end - start) / arrow_scale(report) == pytest.approx([shift.dx.value, shift.dy.value])
        assert tuple(start) == (tile.x, tile.y)


def test_fringing_too_small_to_see_is_not_blown_up():
    report = invented_report((4,), SIZE)
    for tile in report.settings[0].fringing.tiles:
        alter(tile, red=None, blue=None)
    longest = 0.16 * frame.half_diagonal(SIZE)
    assert arrow_scale(report) * 0.5 <= longest * 1.001


@pytest.mark.parametrize(
    ("stops", "text"), [(1 / 3, "⅓"), (2 / 3, "⅔"), (1, "1"), (4 / 3, "1⅓"), (5 / 3, "1⅔"), (3, "3")]
)
def test_thirds_of_a_stop(stops, text):
    assert stops_in_thirds(stops) == text


def test_a_falloff_that_is_flat_or_full_of_holes_still_draws(report):
    setting = invented_report((4,), SIZE).settings[0]
    rows = setting.falloff.grid.stops
    alter(setting.falloff.grid, stops=[[0.0 for _ in row] for row in rows])
    panel(draw_light, report, setting)[0].canvas.draw()
    alter(setting.falloff.grid, stops=[[None for _ in row] for row in rows])
    panel(draw_light, report, setting)[0].canvas.draw()


@pytest.mark.parametrize("size", [(1200, 800), (800, 1200), (1000, 1000)])
def test_map_is_written_as_a_picture(size):
    report = invented_report((5.6,), size)
    picture = iio.imread(zone_map_png(report), mode="RGB")
    assert picture.shape[0] > zone_map_margins_px(report)[0]
    assert picture.shape[1] == 1280
    assert len({tuple(pixel) for pixel in picture[::9, ::9, :3].reshape(-1, 3).tolist()}) > 100


def test_map_of_a_report_with_gaps():
    """No target at one setting, no flat at another, one colour only, no sensor size: still a map."""
    full = invented_report((2.8, 5.6), SIZE)
    alter(full.settings[0], sharpness=None, fringing=None)
    alter(full.settings[1], falloff=None, dust=None)
    bare = Report(Build("bare"), Camera(SIZE), settings=[Setting(aperture="third click", dust=Dust([]))])
    for report in (full, bare):
        assert len(zone_map_png(report)) > 10_000


def test_the_key_names_the_channel_that_is_shown(monkeypatch):
    """A sensor without colours has no green."""
    report = invented_report((5.6,), SIZE)
    alter(
        report.settings[0].sharpness, zones=[z for z in report.settings[0].sharpness.zones if z.channel == "green"]
    )
    for zone in report.settings[0].sharpness.zones:
        alter(zone, channel="grey")
    written = []
    plain = canvas.write_at

    def noted(drawing, left, top, text, **letters):
        written.append(text)
        plain(drawing, left, top, text, **letters)

    monkeypatch.setattr(zone_map_key, "write_at", noted)
    zone_map_png(report)
    assert "Sharpness: MTF50, lp/mm, grey" in written


def drawn_kinds(report, monkeypatch):
    """Which drawings a map holds, in order."""
    drawn = []
    for kind in ("draw_sharpness", "draw_fringing", "draw_light"):
        plain = getattr(zone_map, kind)
        monkeypatch.setattr(
            zone_map,
            kind,
            lambda *given, kind=kind, plain=plain, **look: (drawn.append(kind), plain(*given, **look)),
        )
    zone_map.draw_zone_map(report)
    return [kind.removeprefix("draw_") for kind in drawn]


def test_what_was_not_shot_takes_no_room(monkeypatch):
    """Flats alone, the target alone: another layout and no empty frames."""
    whole, flats, target = (invented_report((5.6,), SIZE) for _ in range(3))
    alter(flats.settings[0], sharpness=None, fringing=None)
    alter(target.settings[0], falloff=None, dust=None)
    for report, kinds in ((whole, ["sharpness", "fringing", "light"]), (flats, ["light"])):
        assert drawn_kinds(report, monkeypatch) == kinds
    assert drawn_kinds(target, monkeypatch) == ["sharpness", "fringing"]


def test_many_apertures_stand_side_by_side(monkeypatch):
    report = invented_report((2, 2.8, 4, 5.6, 8), SIZE)
    assert drawn_kinds(report, monkeypatch) == [*["sharpness"] * 5, "fringing", "light"]
    repeated = invented_report((2.8, 5.6), SIZE)
    alter(repeated, settings=repeated.settings * 6)
    assert len(shown_settings(repeated)) == 2


def test_goals_are_named_with_how_they_were_met(monkeypatch):
    goals = [
        GradedGoal(
            Goal("mtf50_lp_mm", "corner", least=40), "missed", Figure.of(35.7, 0.6, "lp/mm"), "corner top-left"
        ),
        GradedGoal(Goal("corner_falloff_stops", most=1), "met", Figure.of(0.9, 0.01, "stops"), "corner top-left"),
    ]
    report = invented_report((5.6,), SIZE)
    without = zone_map.draw_zone_map(report).get_size_inches()
    alter(report.verdict, goals=Grades("missed", "f/5.6", 1, "only one", goals))
    sheet = zone_map.draw_zone_map(report)
    said = [text.get_text() for text in sheet.texts]
    assert "1 of 2 goals met, 1 missed at f/5.6" in said
    assert any(text.startswith("MTF50, corner missed: 35.7 ± 0.6 lp/mm") for text in said)
    assert {"✗", "✓"} <= set(said)
    assert sheet.get_size_inches()[0] == without[0]
    assert sheet.get_size_inches()[1] > without[1]


def test_letters_can_be_read_at_800_pixels(report):
    """The smallest letters stand 10 px high (their size in points) or more where the picture is 800 px wide."""
    sheet = zone_map.draw_zone_map(report)
    sizes = [text.get_fontsize() for text in sheet.findobj(Text) if text.get_text()]
    assert min(sizes) / 72 * 800 / sheet.get_size_inches()[0] >= 10


def test_a_name_of_any_length_and_sign_stays_on_the_sheet():
    for name in ("x" * 300, "two\nlines\x1b[31m", "$\\frac{$ & $x$"):
        report = invented_report((5.6,), SIZE)
        alter(report, build=Build(name))
        with style.house_style():
            sheet = zone_map.draw_zone_map(report)
            sheet.canvas.draw()
        right = max(text.get_window_extent().x1 for text in sheet.texts)
        assert right <= sheet.bbox.x1
        assert not any("\x1b" in text.get_text() for text in sheet.texts)


def test_the_picture_s_few_colours_are_near_those_drawn(report):
    """No map's colour is off by more than three of 255: no eye tells that apart (common practice)."""
    drawing = zone_map.draw_zone_map(report)
    exact = iio.imread(canvas.as_png(drawing, 80), mode="RGB").astype(int)
    small = iio.imread(canvas.as_small_png(drawing, 80), mode="RGB").astype(int)
    off = np.abs(exact - small).max(axis=-1)
    scale = np.round(255 * style.SCALE(np.arange(256))[:, :3]).astype(int)
    as_one_number = np.array([1 << 16, 1 << 8, 1])
    on_scale = np.isin(exact @ as_one_number, scale @ as_one_number)
    assert on_scale.mean() > 0.3
    assert off[on_scale].max() <= 3
    assert off.mean() < 2


def test_captions_of_small_drawings_are_short_enough_to_be_read_whole():
    """Some 38 letters fit above a drawing 2.4 inches wide, as the picture showed."""
    report = invented_report((2.8, 5.6), (300, 200))
    for setting in report.settings:
        for source in ("lens", LENS_AND_LIGHT):
            falloff = msgspec.structs.replace(setting.falloff, source=source)
            said = light_in_few_words(msgspec.structs.replace(setting, falloff=falloff))
            assert len(said) <= 40
            assert ("light" in said) == (source != "lens")
            assert "stops; " in said
