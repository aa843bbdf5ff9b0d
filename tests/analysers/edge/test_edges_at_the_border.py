"""Edges beside the frame's border, one side of which is hardly seen: right, or refused, but never wrong."""

from dataclasses import replace

import numpy as np
import pytest

from lensbench.analysers.edge import blade_places, measure_edges, tile_edges
from tests import known_edges as known
from tests.analysers.edge.edge_benches import found_on, truth_of

BLUR = known.gaussian(0.8)


def beside_the_border(side: str, seen_px: int, turn_deg: float, seed: int):
    """The measured green edge and its true MTF50, the frame cut `seen_px` from its middle on one side."""
    angle = turn_deg if side == "bright" else turn_deg + 180
    made = known.scene(BLUR, [angle], cell=320, length=150.0, seed=seed)
    cut = 160 + seen_px
    places = blade_places(made.ends, made.normal, 100.0)
    found = measure_edges(known.expose(made.light[:, :cut], seed=seed), places, ["green"], threads=1)["green"]
    return found, known.true_mtf50(known.with_pixel(BLUR, made.angle[0]))


@pytest.mark.parametrize("side", ["dark", "bright"])
@pytest.mark.parametrize("seen_px", [6, 8, 14])
def test_a_side_that_is_hardly_seen_is_not_mistaken(side, seen_px):
    off = []
    for seed, turn in enumerate((2.0, 3.0, -4.0, 5.5, 12.0, 24.0)):
        found, true = beside_the_border(side, seen_px, turn, seed)
        assert found.measured[0]
        off.append((found.mtf50[0] - true) / found.mtf50_sigma[0])
        assert found.mtf50[0] == pytest.approx(true, rel=0.05)
    assert np.abs(off).max() < 3.5


@pytest.mark.parametrize("side", ["dark", "bright"])
def test_a_side_out_of_the_frame_is_said(side):
    found, _ = beside_the_border(side, 2, 3.0, 1)
    assert found.reason[0] == "too little of it in the frame"


@pytest.mark.parametrize("seed", [1, 3])
def test_a_stump_of_an_edge_spoils_neither_itself_nor_the_rest_of_its_tile(seed):
    blur = known.gaussian(2.2)
    sheet = known.tile_sheet(blur, 1, 6, pitch=340, leg=150.0, seed=seed)
    for cut in (90, 98, 106):
        places = tile_edges(found_on(replace(sheet, corners=sheet.corners - np.array([cut, 0.0]))))
        shot = known.expose(sheet.light[:, cut:], seed=seed)
        edges = measure_edges(shot, places, ["green"], threads=1)["green"]
        off = ((edges.mtf50 - truth_of(places, blur)) / edges.mtf50_sigma)[edges.measured]
        assert len(off) > 8
        assert np.abs(off).max() < 4


@pytest.mark.parametrize("side", ["left", "top"])
def test_what_the_border_leaves_of_small_tiles_is_measured_and_right(side):
    """Legs of 55 px, of which the border leaves 25 and more with both sides: the corners of small frames."""
    blur, axis = known.gaussian(0.9), ("left", "top").index(side)
    seen, off = [], []
    for seed in range(4):
        sheet = known.tile_sheet(blur, *((1, 6), (6, 1))[axis], pitch=98, leg=55.0, seed=seed)
        for cut in (40, 47, 54):
            shift = cut * np.eye(2)[axis]
            places = tile_edges(found_on(replace(sheet, corners=sheet.corners - shift)))
            light = sheet.light[:, cut:] if axis == 0 else sheet.light[cut:]
            edges = measure_edges(known.expose(light, seed=seed), places, ["green"], threads=1)["green"]
            low, high = places.span(np.full(len(places), 3.0), light.shape[::-1])
            room = places.middle + (low + high)[:, None] / 2 * places.along
            clear = (high - low > 25) & (room[:, axis] > 14)
            seen += list(edges.measured[clear])
            off += list(((edges.mtf50 - truth_of(places, blur)) / edges.mtf50_sigma)[edges.measured])
    assert len(seen) > 60
    assert np.mean(seen) > 0.9
    assert np.mean(np.abs(off) < 1.96) > 0.9
