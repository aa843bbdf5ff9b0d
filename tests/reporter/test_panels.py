"""The page's smaller drawings: distortion, curves, centres; and the sentences beside them."""

import numpy as np
import pytest

from lensbench.findings import Assembly, Figure, Geometry, Limits, OpticalCentre
from lensbench.reporter.plots import canvas, style
from lensbench.reporter.plots.centres import _name_heights, draw_centres
from lensbench.reporter.plots.curves import draw_curves
from lensbench.reporter.plots.distortion import _distorted, draw_distortion
from lensbench.reporter.values.distortion import distortion_scale
from lensbench.reporter.words.geometry import geometry_in_words
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1200, 800)


@pytest.fixture(scope="module")
def report():
    return invented_report((4.0,), SIZE)


def axes():
    return canvas.axes_in(canvas.new_drawing(3, 2), 0, 0, 3, 2)


def test_a_barrel_is_drawn_as_one(report):
    """By definition of barrel distortion the corners come in: a border line's ends lie nearer the middle."""
    distortion = report.geometry.distortion
    top = np.stack([np.linspace(0, 1200, 61), np.full(61, 10.0)], -1)
    bent = _distorted(top, distortion, SIZE, 1.0)
    assert bent[0, 1] > bent[30, 1]
    assert bent[-1, 1] > bent[30, 1]
    assert bent[0, 0] > 0
    assert bent[-1, 0] < 1200
    # At h = 1 the point moves in by 1.342 % of its distance.
    corner = np.array([[600 + 1.0 * 600, 400 + 1.0 * 400]])
    moved = np.hypot(*(_distorted(corner, distortion, SIZE, 1.0) - corner)[0]) / np.hypot(600, 400)
    assert moved == pytest.approx(0.01342, abs=0.0004)


def test_small_distortion_is_enlarged_but_not_without_end(report):
    distortion = report.geometry.distortion
    strong = distortion_scale(distortion)
    alter(distortion, terms=[Figure.of(1e-6, 1e-6, "")])
    assert 1 < strong < distortion_scale(distortion) <= 80
    alter(distortion, terms=[Figure.of(0.3, 0.001, "")])
    assert distortion_scale(distortion) == 1
    draw_distortion(axes(), report, distortion)


def test_curves_cross_the_middle_line_at_mtf50(report):
    setting = report.settings[0]
    panel = axes()
    draw_curves(panel, report, setting)
    lines = [line for line in panel.lines if len(line.get_xdata()) > 10]
    assert len(lines) == 4
    centre = next(
        z for z in setting.sharpness.zones if (z.zone, z.channel, z.direction) == ("centre", "green", "sagittal")
    )
    x, y = (np.asarray(values) for values in (lines[0].get_xdata(), lines[0].get_ydata()))
    assert np.interp(0.5, y[::-1], x[::-1]) == pytest.approx(centre.mtf50_lp_mm.value, rel=0.01)


def test_a_flawless_lens_is_drawn_beside_the_curves():
    """Goodman, ch. 6 (memory): half of the cut-off leaves a perfect lens 0.3910; the pixel there is sinc(f)."""
    report = invented_report((4.0,), SIZE)
    (setting,) = report.settings
    alter(setting, limits=Limits(effective_f_number=160.0))
    panel = axes()
    draw_curves(panel, report, setting)
    (dotted,) = [line for line in panel.lines if line.get_color() == style.MUTED and len(line.get_xdata()) == 101]
    # 540 nm at f/160 cut off at 11.57 lp/mm; 30 µm pixels are 33.3 to a millimetre.
    fineness, contrast = dotted.get_data()
    at = 1 / (0.00054 * 160) / 2
    assert np.interp(at, fineness, contrast) == pytest.approx(0.3910 * np.sinc(at * 0.030), abs=0.002)


@pytest.mark.parametrize("wanted", [[0.1, 0.1, 0.1], [-1.0, 0.0, 1.0], [0.2], [-0.2, -0.1, 0.9, 0.91]])
def test_names_are_far_enough_apart(wanted):
    heights = _name_heights(wanted)
    assert (np.diff(heights) > 0.33).all()
    assert np.mean(heights) == pytest.approx(np.mean(wanted))


def test_centres_that_coincide_with_the_frames_still_draw():
    nothing = Figure.of(0.0, 0.0, "mm")
    draw_centres(axes(), Assembly("straight", [OpticalCentre("falloff", nothing, nothing)]))


def test_words_on_size(report):
    def said(magnification):
        return geometry_in_words(Geometry(magnification=magnification))[0]

    large = "The picture on the sensor is 1.003 ± 0.004 times as large as the thing"
    assert said(Figure.of(1.003, 0.004, "×")) == f"{large}: life size, within the uncertainty."
    assert said(Figure.of(0.97, 0.004, "×")).endswith("as large as the thing.")
    assert geometry_in_words(None) == []
    words = " ".join(geometry_in_words(report.geometry))
    assert "right side is turned 1.81 ± 0.09 °" in words
    assert "bottom" not in words
    assert "turn the lens in its mount" in words


def test_words_on_a_target_whose_distance_is_not_known(report):
    alignment = report.geometry.alignment
    alter(alignment, right_away_deg=None, bottom_away_deg=None)
    assert "0.90 % larger at the left." in " ".join(geometry_in_words(report.geometry))
