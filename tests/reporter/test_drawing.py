"""What all drawings share: readable ink, the colour scale in grey, zones drawn where the frame says they are."""

import re

import numpy as np
import pytest
from skimage.color import rgb2lab

from lensbench import frame
from lensbench.reporter.plots import canvas, frame_parts, style
from lensbench.reporter.values import figures


def test_ink_reads_well_on_the_whole_scale():
    """WCAG 2.1, success criterion 1.4.3: contrast of at least 4.5 to 1."""
    for share in np.linspace(0, 1, 101):
        colour = style.colour_of(share)
        assert style._contrast(colour, style.ink_on(colour)) >= 4.5


def test_contrast_is_wcags():
    """WCAG's own end point, 21 to 1 for black on white, and its known worst grey that passes on white, #767676."""
    assert style._contrast("#000000", "#ffffff") == pytest.approx(21)
    assert style._contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_scale_rises_evenly_in_grey():
    """Lightness by CIELAB (scikit-image), steps alike within a third: readable without colour."""
    colours = np.array([style.colour_of(share)[:3] for share in np.linspace(0, 1, 21)])
    steps = np.diff(rgb2lab(colours[None])[0, :, 0])
    assert (steps > 0).all()
    assert steps.max() < 1.6 * steps.mean()


@pytest.mark.parametrize("size", [(600, 400), (400, 600), (400, 300), (300, 300)])
def test_zones_are_drawn_where_they_are(size):
    """Every pixel's zone by `frame` against the outlines that are drawn, but for those on a line."""
    x, y = np.meshgrid(np.arange(0, size[0], 7.0), np.arange(0, size[1], 7.0))
    expected = frame.zone_index(x, y, size)
    seen = np.full(x.shape, -1)
    for number, zone in enumerate(frame.ZONES):
        patch = frame_parts.zone_patch(zone, size)
        outline = patch.get_path().transformed(patch.get_patch_transform())
        seen[outline.contains_points(np.stack([x.ravel(), y.ravel()], -1)).reshape(x.shape)] = number
    assert (seen == expected).mean() > 0.97
    assert (seen >= 0).mean() > 0.97


@pytest.mark.parametrize("size", [(6000, 4000), (4000, 6000), (4608, 3456), (1000, 1000)])
def test_figures_stand_in_their_zone(size):
    for zone in frame.ZONES:
        assert frame.zone_of(*frame_parts.zone_anchor(zone, size), size) == zone


def test_letters_on_the_page_are_as_large_as_asked_for():
    """Their outlines are drawn in 64 units a point, at 100 points: both scales must be kept to all digits."""
    drawing = canvas.new_drawing(2, 1)
    canvas.write_at(drawing, 0.1, 0.5, "7.4", fontsize=8.25)
    scales = re.findall(r'transform="scale\(([\d.]+)\)"', canvas.as_svg(drawing))
    assert len(scales) == 3
    assert [float(scale) for scale in scales] == pytest.approx([1 / 64] * 3, rel=1e-3)
    assert "scale(0.0825 -0.0825)" in canvas.as_svg(drawing)


def test_figures_in_corners_lie_within_the_frame():
    """As drawn, in points of the screen: a corner's zone is too narrow for a figure in its middle."""
    drawing = canvas.new_drawing(3, 2)
    axes = canvas.axes_in(drawing, 0, 0, 3, 2)
    frame_parts.open_frame(axes, (600, 400))
    for zone in frame.ZONES:
        frame_parts.write_in_zone(axes, zone, (600, 400), "+10.5", fontsize=10)
    drawing.canvas.draw()
    for text in axes.texts:
        box = text.get_window_extent()
        assert drawing.bbox.x0 < box.x0 < box.x1 < drawing.bbox.x1
        assert drawing.bbox.y0 < box.y0 < box.y1 < drawing.bbox.y1


@pytest.mark.parametrize(
    ("value", "above", "below"), [(39.2, 40, 30), (0.31, 0.4, 0.3), (1.0, 1, 1), (166, 200, 150)]
)
def test_round_numbers(value, above, below):
    assert figures.nice_ceiling(value) == pytest.approx(above)
    assert figures.nice_floor(value) == pytest.approx(below)
