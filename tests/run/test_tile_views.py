"""Pictures of tiles, cut from raw samples: which way round, how bright, and where the edges lie on them."""

import io
from types import SimpleNamespace

import imageio.v3 as iio
import numpy as np
import pytest

from lensbench.run._tile_views import view_tiles
from lensbench.shot import Shot
from lensbench.target.finder import FoundTiles

# A tile with its right angle at (100, 60), legs of 80 px to the right and 60 px down.
CORNERS = np.array([[[100.0, 60.0], [180.0, 60.0], [100.0, 120.0]]])
FOUND = FoundTiles(np.array([7]), np.array([4]), CORNERS, np.array([True]), mirrored=False)


def shot(pattern="RGGB", red_shift=0):
    """A dark tile on bright paper; red's picture of it may lie further right; colours differ in brightness."""
    y, x = np.mgrid[:200, :300]
    levels = []
    for shift, white in ((red_shift, 6000.0), (0, 12000.0), (0, 4000.0)):
        inside = (x - shift >= 100) & (y >= 60) & ((x - shift - 100) / 80 + (y - 60) / 60 <= 1)
        levels.append(np.where(inside, 0.05 * white, white) + 500)
    if pattern is None:
        return Shot.from_array(np.stack(levels, -1), 500, 16000, name="t.tif")
    index = np.array(["RGB".index(letter) for letter in pattern]).reshape(2, 2)
    return Shot.from_array(np.choose(np.tile(index, (100, 150)), levels), 500, 16000, pattern, name="t.dng")


def responses(reason=("", "", "blurred beyond measure")):
    """The tile's edges as if measured: the first along the top, the second down the left side."""
    return SimpleNamespace(
        x=np.array([140.0, 100.0, np.nan]),
        y=np.array([59.5, 90.0, np.nan]),
        normal=np.array([[0.0, -1.0], [-1.0, 0.0], [np.nan, np.nan]]),
        length_px=np.array([60.0, 40.0, np.nan]),
        mtf=np.tile(np.linspace(1, 0, 65), (3, 1)),
        reason=np.array(reason),
    )


def decoded(view):
    return iio.imread(io.BytesIO(view.picture)).astype(float)


@pytest.mark.parametrize("pattern", ["RGGB", "GBRG", None])
def test_picture_is_the_right_way_round_and_its_paper_is_white_in_every_colour(pattern):
    (view,) = view_tiles("t.dng", shot(pattern), FOUND, responses(), block=2)
    picture = decoded(view)
    assert (view.column, view.row, view.px_across) == (7, 4, 2.0)
    assert picture.shape[:2] == view.size_px[::-1]
    # The box begins 0.14 × 80 px outside of the tile: at 88 and 48.
    inside, paper = picture[(70 - 48) // 2, (115 - 88) // 2], picture[(110 - 48) // 2, (170 - 88) // 2]
    # 0.86 of full light is 239 of 255, a twentieth of that 59 (IEC 61966-2-1).
    np.testing.assert_allclose(paper, 239, atol=4)
    np.testing.assert_allclose(inside, 59, atol=4)


def test_edges_lie_on_the_picture_where_they_were_found():
    (view,) = view_tiles("t.dng", shot(), FOUND, responses(), block=2)
    top, side, slant = view.edges
    assert [edge.leg for edge in view.edges] == ["along", "across", "slant"]
    # From 140 ± 30 at y = 59.5: distances from the border at 87.5 and 47.5, halved.
    assert sorted([top.start, top.end]) == [(11.25, 6.0), (41.25, 6.0)]
    assert sorted([side.start, side.end]) == [(6.25, 11.25), (6.25, 31.25)]
    assert len(top.mtf) == 65
    # What could not be measured lies between its corners, and has no curve.
    assert sorted([slant.start, slant.end]) == [(6.25, 36.25), (46.25, 6.25)]
    assert slant.mtf == ()


def test_a_fringe_keeps_its_colour_and_side():
    """Red drawn further right leaves its paper where green is dark already: red at the tile's left side."""
    (view,) = view_tiles("t.dng", shot(red_shift=4), FOUND, responses(), block=2)
    red, green, blue = decoded(view)[(80 - 48) // 2, (101 - 88) // 2]
    assert red > green + 60
    assert abs(green - blue) < 40


def test_tiles_that_hardly_lie_in_the_frame_have_no_picture():
    off = FoundTiles(
        np.array([0]), np.array([0]), CORNERS + np.array([210.0, 0.0]), np.array([False]), mirrored=False
    )
    assert view_tiles("t.dng", shot(), off, responses(), block=2) == ()
