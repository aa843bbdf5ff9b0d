"""Where a tile's figure lies, of which the frame's border leaves two edges."""

from dataclasses import replace

import numpy as np
import pytest

from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from tests.analysers.sharpness.test_sharpness import PITCH_UM, SIZE, Ellipse, edges_of, set_squares


def test_a_tile_lies_where_its_used_edges_do():
    found = set_squares(columns=3, rows=2)
    green = edges_of(found, Ellipse())
    why = green.reason.copy()
    why[0] = "too little of it in the frame"
    lost = replace(green, reason=why, mtf50=np.where(why == "", green.mtf50, np.nan), x=green.x.copy())
    lost.x[0] -= 400  # the whole edge's middle, outside the frame
    first, second = measure_sharpness([ShotEdges("t", {"green": lost}, found)], SIZE, PITCH_UM).tiles[:2]
    assert (first.x, first.y) == pytest.approx((green.x[1:3].mean(), green.y[1:3].mean()))
    assert (second.x, second.y) == pytest.approx((green.x[3:6].mean(), green.y[3:6].mean()))


def test_a_tile_without_any_used_edge_still_has_its_place():
    found = set_squares(columns=3, rows=2)
    green = edges_of(found, Ellipse())
    why = green.reason.copy()
    why[:3] = "clipped"
    lost = replace(green, reason=why, mtf50=np.where(why == "", green.mtf50, np.nan))
    first = measure_sharpness([ShotEdges("t", {"green": lost}, found)], SIZE, PITCH_UM).tiles[0]
    assert (first.x, first.y) == pytest.approx((green.x[:3].mean(), green.y[:3].mean()))
