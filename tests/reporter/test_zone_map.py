"""The zone map: what it fills, points and writes, for reports full and empty."""

import imageio.v3 as iio
import numpy as np
import pytest
from matplotlib.patches import FancyArrowPatch, Polygon

from lensbench import frame
from lensbench.findings import Build, Camera, Dust, Report, Setting
from lensbench.reporter.plots import canvas, frame_parts, style, zone_map_key
from lensbench.reporter.plots.falloff_and_marks import draw_light, stops_in_thirds
from lensbench.reporter.plots.fringing import draw_fringing
from lensbench.reporter.plots.zone_map import HEADER_PX, zone_map_png
from lensbench.reporter.plots.zone_sharpness import draw_sharpness
from lensbench.reporter.values.fringing import arrow_scale
from lensbench.reporter.values.sharpness import sharpness_ceiling
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
    picture = iio.imread(zone_map_png(invented_report((5.6,), size)))
    assert picture.shape[0] > HEADER_PX
    assert picture.shape[1] > 1000
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
