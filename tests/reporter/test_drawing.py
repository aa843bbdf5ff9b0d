"""What all drawings share: readable ink, the colour scale in grey, zones drawn where the frame says they are."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from lensbench import frame
from lensbench.reporter.plots import frame_parts, style
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


@pytest.mark.parametrize(
    ("value", "above", "below"), [(39.2, 40, 30), (0.31, 0.4, 0.3), (1.0, 1, 1), (166, 200, 150)]
)
def test_round_numbers(value, above, below):
    assert figures.nice_ceiling(value) == pytest.approx(above)
    assert figures.nice_floor(value) == pytest.approx(below)
