"""Sensor, lens and sheet side-on: which way things lean, by hand, and what is said under it."""

import pytest

from lensbench.findings import Alignment, Assembly, Figure, Geometry, SofterSide, Verdict
from lensbench.reporter.plots import canvas, style
from lensbench.reporter.plots.lean import ASPECT, draw_lean
from lensbench.reporter.values.lean import drawn_deg, leans_of, times_drawn
from lensbench.reporter.words.lean import lean_in_words
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


def degrees(value):
    return Figure.of(value, 0.01, "°")


def percent(value):
    return Figure.of(value, 0.01, "%")


def reported(right=None, bottom=None, wider_left=0.3, wider_top=-0.1, softer=None):
    report = invented_report((4.0,), (300, 200))
    angles = [None if value is None else degrees(value) for value in (right, bottom)]
    alter(report, geometry=Geometry(alignment=Alignment(percent(wider_left), percent(wider_top), *angles, True)))
    alter(report, verdict=Verdict(assembly=Assembly("can't tell", softer_side=softer)))
    return report


def sheet_of(lean, leans):
    """Both ends of the sheet as drawn: the thickest upright line at the right."""
    with style.house_style():
        axes = canvas.axes_in(canvas.new_drawing(3, 3 / ASPECT), 0, 0, 3, 3 / ASPECT)
        draw_lean(axes, lean, leans)
    lines = [line for line in axes.lines if line.get_linewidth() == 2.4]
    (sheet,) = lines
    return list(zip(*sheet.get_data(), strict=True))


def test_the_side_that_is_away_is_drawn_farther_from_the_lens():
    """Right 1.25° away, top 0.5° away; seen from above, the picture's right is the lower end of the drawing."""
    above, side = leans = leans_of(reported(right=1.25, bottom=-0.5))
    assert times_drawn(leans) == 10
    assert drawn_deg(above, leans) == pytest.approx(12.5)
    (left_x, left_y), (right_x, right_y) = sheet_of(above, leans)
    assert above.ends == ("left", "right")
    assert left_y > right_y
    assert right_x > left_x
    (top_x, top_y), (bottom_x, bottom_y) = sheet_of(side, leans)
    assert side.ends == ("top", "bottom")
    assert top_y > bottom_y
    assert top_x > bottom_x
    assert "the sheet's right side is turned 1.25 ± 0.01 ° away" in lean_in_words(above, leans).lower()
    assert "top side" in lean_in_words(side, leans)
    assert "Drawn 10 times as steep" in lean_in_words(side, leans)


def test_next_to_nothing_looks_like_it():
    """A keystone of 0.06 % over the 0.83 diagonals of a 3:2 frame's width, one diagonal away, is 0.041°."""
    above, _ = leans = leans_of(reported(wider_left=0.06, wider_top=0.0))
    assert times_drawn(leans) == 20
    assert drawn_deg(above, leans) == pytest.approx(20 * 0.0413, rel=0.01)


def test_without_angles_the_larger_side_is_nearer_and_the_steepness_is_about_right():
    above, side = leans = leans_of(reported())
    (left_x, _), (right_x, _) = sheet_of(above, leans)
    assert right_x > left_x
    # 0.1 % over two parts of the frame's height against 0.3 % over three of its width.
    assert drawn_deg(side, leans) == pytest.approx(-drawn_deg(above, leans) / 2, rel=1e-3)
    assert "larger at the left: it is nearer there" in lean_in_words(above, leans)
    assert "Drawn about 20 times as steep" in lean_in_words(side, leans)


def test_what_chance_may_have_made_is_drawn_square():
    above, _ = leans = leans_of(reported(wider_left=0.005))
    (left_x, _), (right_x, _) = sheet_of(above, leans)
    assert left_x == pytest.approx(right_x)
    assert lean_in_words(above, leans) == "The sheet was square to the camera."


@pytest.mark.parametrize(
    ("cause", "said"),
    [("can't tell", "sheet or the lens"), ("lens", "turns with the lens"), ("target or camera", "stays")],
)
def test_the_softer_side_says_whose_it_is(cause, said):
    softer = SofterSide("top right", Figure.of(30, 2, "%"), "f/4", cause)
    above, side = leans = leans_of(reported(softer=softer))
    assert (above.softer, side.softer) == ("right", "top")
    assert "the right is softer" in lean_in_words(above, leans)
    assert said in lean_in_words(above, leans)


def test_without_geometry_there_is_nothing_to_draw():
    report = invented_report((4.0,), (300, 200))
    alter(report, geometry=None)
    assert leans_of(report) == []
