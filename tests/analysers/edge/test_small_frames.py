"""Small pictures that are whole frames: over them the light falls off within a few hundred pixels."""

import numpy as np
import pytest

from lensbench.analysers.edge import measure_edges, tile_edges
from tests import known_edges as known
from tests.analysers.edge.edge_benches import found_on, truth_of

BLUR = known.gaussian(1.4)


@pytest.fixture(scope="module")
def sheet():
    return known.tile_sheet(BLUR, 9, 6, pitch=100, leg=58.0, seed=31)


@pytest.mark.parametrize("stops", [1.0, 2.5])
def test_falloff_over_a_small_whole_frame_leaves_no_mark(sheet, stops):
    height, width = sheet.light.shape
    y, x = np.mgrid[:height, :width]
    h2 = ((x - (width - 1) / 2) ** 2 + (y - (height - 1) / 2) ** 2) / ((width / 2) ** 2 + (height / 2) ** 2)
    places = tile_edges(found_on(sheet))
    shot = known.expose(sheet.light * 2.0 ** (-stops * h2), seed=31)
    edges = measure_edges(shot, places, ["green"], threads=1)["green"]
    off = (edges.mtf50 / truth_of(places, BLUR) - 1)[edges.measured]
    assert len(off) > 150
    assert abs(np.mean(off)) < 0.0015
    assert np.mean(np.abs(off) < 1.96 * (edges.mtf50_sigma / truth_of(places, BLUR))[edges.measured]) > 0.92
