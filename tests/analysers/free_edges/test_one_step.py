"""Borders of everyday things that are no clean edges, and photographs: no figure, or figures that agree."""

import imageio.v3 as iio
import numpy as np
import pytest
import skimage.data

from lensbench.analysers.free_edges import measure_free_edges
from lensbench.findings import Reason
from lensbench.loaders import read_shot
from tests.drawn_blades import mtf50_of
from tests.drawn_scenes import alike, bordered

SIDES = {Reason.DARK_SIDE, Reason.BRIGHT_SIDE, Reason.SEVERAL_STEPS}

NO_EDGE = {
    "dark line close by": (alike((0, 0.6), (4, -0.3), (7, 0.3)), SIDES),
    "dark line farther off": (alike((0, 0.6), (8, -0.2), (10, 0.2)), SIDES),
    "bright line on the dark side": (alike((-8, 0.3), (-5, -0.3), (0, 0.6)), SIDES),
    "two steps": (alike((-3, 0.3), (3, 0.3)), SIDES),
    "a small second step": (alike((0, 0.5), (8, 0.1)), SIDES | {Reason.CONTRADICTORY}),
    "red border": ({"red": [(0, 0.05)], "green": [(0, 0.6)], "blue": [(0, 0.6)]}, {Reason.COLOURS_DIFFER}),
    "red patch beside": ({"red": [(-10, 0.6)], "green": [(0, 0.6)], "blue": [(0, 0.6)]}, {Reason.COLOURS_DIFFER}),
    "blue on the other side": (
        {"red": [(0, 0.6)], "green": [(0, 0.6)], "blue": [(-200, 0.5), (0, -0.4)]},
        {Reason.COLOURS_DIFFER},
    ),
}


@pytest.mark.parametrize("blur", [0.7, 1.5])
@pytest.mark.parametrize("scene", NO_EDGE)
def test_a_border_that_is_no_single_step_is_left_out_with_the_reason(scene, blur):
    steps, reasons = NO_EDGE[scene]
    result = measure_free_edges(bordered(steps, blur), threads=1)
    assert result.edges == []
    assert {line.reason for line in result.refused} <= reasons
    assert result.refused


@pytest.mark.parametrize("blur", [0.7, 1.5, 4.0])
@pytest.mark.parametrize(
    "steps",
    [
        alike((0, 0.6)),
        alike((0, 0.1)),
        {"red": [(0, 0.2)], "green": [(0, 0.6)], "blue": [(0, 0.4)]},
        {"red": [(1.5, 0.6)], "green": [(0, 0.6)], "blue": [(-1.5, 0.6)]},
    ],
)
def test_one_step_counts_in_coloured_light_and_with_fringes(steps, blur):
    """Of a Gaussian blur, MTF50 = 0.18739 / s (closed form)."""
    result = measure_free_edges(bordered(steps, blur), threads=1)
    figures = [colour.mtf50 for edge in result.edges for colour in edge.colours]
    assert len(figures) == 9
    assert [figure.value for figure in figures] == pytest.approx([mtf50_of(blur)] * 9, rel=0.02)


@pytest.mark.parametrize("texture", [0.01, 0.05, 0.2])
def test_textured_surfaces_give_right_figures_or_none(texture):
    result = measure_free_edges(bordered(alike((0, 0.6)), 1.5, texture=texture), threads=1)
    for edge in result.edges:
        for colour in edge.colours:
            if colour.mtf50:
                assert colour.mtf50.value == pytest.approx(mtf50_of(1.5), rel=0.1)


@pytest.mark.parametrize(
    "name", ["astronaut", "brick", "camera", "checkerboard", "clock", "coffee", "coins", "page", "rocket", "text"]
)
def test_figures_of_photographs_agree(name, tmp_path):
    """scikit-image's photographs: a rise of 10 to 90 % is about half of 1 / MTF50, and colours lie together."""
    path = tmp_path / f"{name}.png"
    iio.imwrite(path, getattr(skimage.data, name)())
    result = measure_free_edges(read_shot(path))
    for edge in result.edges:
        for colour in edge.colours:
            if colour.mtf50:
                assert 0.2 < colour.rise_px.value * colour.mtf50.value < 5
                assert colour.lateral_px is None or abs(colour.lateral_px.value) < 3 + colour.rise_px.value
    assert result.edges or result.refused or name in ("checkerboard", "coins")
    assert np.isfinite([edge.x for edge in result.edges]).all()
