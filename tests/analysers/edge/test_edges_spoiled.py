"""Hairs, scratches, glints and hot pixels planted on edges: left out, or the edge is named with its reason."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Reason
from tests import known_edges as known
from tests.analysers.edge.edge_benches import found_on, truth_of

BLUR = known.gaussian(1.0)
PITCH, LEG = 160, 90.0


@pytest.fixture(scope="module")
def sheet():
    return known.tile_sheet(BLUR, 4, 4, pitch=PITCH, leg=LEG)


@pytest.fixture(scope="module")
def usual(sheet):
    return measure_edges(known.expose(sheet.light, seed=4), tile_edges(found_on(sheet)), ["green"], threads=1)[
        "green"
    ]


def with_line(light, at, along, width, level):
    """Light with a soft line of a level through a place, in a direction, 40 px long."""
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    dx, dy = x - at[0], y - at[1]
    across, far = along[0] * dy - along[1] * dx, np.abs(along[0] * dx + along[1] * dy)
    share = expit((width / 2 - np.abs(across)) * 3) * expit((20 - far) * 3)
    return light + share * (level - light)


def with_arc(light, at, along, normal, bend, cover):
    """Light with a soft line 2 px wide that touches an edge from inside its white and bends away from it."""
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    t = (x - at[0]) * along[0] + (y - at[1]) * along[1]
    u = (x - at[0]) * normal[0] + (y - at[1]) * normal[1]
    share = cover * expit((1 - np.abs(u - bend * t**2)) * 3) * expit((45 - np.abs(t)) * 3)
    return light * (1 - share)


def with_shadow(light, at, normal, depth):
    """Light that is darker by a share beyond a line through a place, over some 8 px."""
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    return light * (1 - depth * expit(((x - at[0]) * normal[0] + (y - at[1]) * normal[1]) / 2))


def half_widths_off(light, places):
    """How far each green edge's MTF50 is off the closed form's, over half of its 95 % interval."""
    seen = measure_edges(known.expose(light, seed=4), places, ["green"], threads=1)["green"]
    return (seen.mtf50 - truth_of(places, BLUR)) / (1.96 * seen.mtf50_sigma), seen


def sharpness_of(light, sheet):
    found = found_on(sheet)
    responses = {"green": measure_edges(known.expose(light, seed=3), tile_edges(found), threads=1)["green"]}
    height, width = light.shape
    return responses["green"], measure_sharpness([ShotEdges("t.dng", responses, found)], (width, height)).edges


HARM = {
    "a hair along it": (0.0, 2.5, 0.05),
    "a hair across it": (60.0, 2.0, 0.05),
    "a scratch through the ink": (80.0, 3.0, 0.7),
    "a smear over it": (20.0, 14.0, 0.35),
}


@pytest.mark.parametrize("harm", HARM)
def test_a_spoiled_edge_is_named_or_right_and_no_other_suffers(sheet, harm):
    degrees, width, level = HARM[harm]
    places = tile_edges(found_on(sheet))
    hit = 3 * 5 + 2
    turn = np.radians(degrees)
    along = np.cos(turn) * places.along[hit] + np.sin(turn) * places.normal[hit]
    light = with_line(sheet.light, places.middle[hit] + 2 * places.normal[hit], along, width, level)
    responses, rows = sharpness_of(light, sheet)
    off = np.abs(responses.mtf50 / truth_of(places, BLUR) - 1)
    if rows[hit].used:
        assert off[hit] < max(4 * responses.mtf50_sigma[hit] / responses.mtf50[hit], 0.02)
    else:
        assert rows[hit].reason in (Reason.SOFTER, Reason.SHARPER, Reason.TOO_NOISY)
    # The other two edges of the same tile are touched by nothing.
    others = np.delete(np.arange(len(rows)), hit)
    assert all(rows[i].used for i in others)
    assert off[others].max() < 0.02


def test_harm_as_large_as_a_smear_is_named(sheet):
    places = tile_edges(found_on(sheet))
    light = with_line(sheet.light, places.middle[17], places.along[17], 14.0, 0.35)
    _, rows = sharpness_of(light, sheet)
    assert not rows[17].used
    assert rows[17].reason is Reason.SOFTER
    assert rows[17].mtf50 is not None


@pytest.mark.parametrize("bend", [0.002, 0.004, -0.003])
def test_a_hair_that_runs_along_an_edge_makes_it_unsure(sheet, usual, bend):
    places = tile_edges(found_on(sheet))
    light = with_arc(sheet.light, places.middle[17], places.along[17], places.normal[17], bend, 0.6)
    off, seen = half_widths_off(light, places)
    assert np.nanmax(np.abs(off)) < 3
    # Nothing lies on the other tiles' edges: they are as sure as before.
    others = np.arange(len(places)) // 3 != 17 // 3
    assert np.median((seen.mtf50_sigma / usual.mtf50_sigma)[others]) < 1.03


@pytest.mark.parametrize("depth", [0.06, 0.15])
@pytest.mark.parametrize("away", [14.0, 30.0])
def test_a_shadows_border_beside_an_edge_makes_it_unsure(sheet, depth, away):
    places = tile_edges(found_on(sheet))
    at = places.middle[17] + away * places.normal[17]
    off, seen = half_widths_off(with_shadow(sheet.light, at, places.normal[17], depth), places)
    assert np.nanmax(np.abs(off)) < 3
    assert np.mean(seen.mtf50_sigma < 0.02 * seen.mtf50) > 0.8


def test_a_glint_that_clips_is_left_out_and_counted(sheet):
    places = tile_edges(found_on(sheet))
    shot = known.expose(sheet.light, seed=3)
    clean = measure_edges(shot, places, threads=1)
    samples = shot.samples.copy()
    x, y = np.round(places.middle[17] + 4 * places.normal[17]).astype(int)
    samples[y - 2 : y + 3, x - 2 : x + 3] = int(shot.white)
    glinting = measure_edges(replace(shot, samples=samples), places, threads=1)
    for colour, found in glinting.items():
        assert found.measured[17]
        assert 0 < found.clipped[17] < 0.01
        assert np.abs(found.mtf50 - clean[colour].mtf50)[17] < clean[colour].mtf50_sigma[17]
        assert np.abs(found.offset_px - clean[colour].offset_px)[17] < clean[colour].offset_sigma_px[17]


def test_a_cluster_of_hot_pixels_on_the_rise_is_left_out(sheet):
    places = tile_edges(found_on(sheet))
    shot = known.expose(sheet.light, seed=3)
    samples = shot.samples.copy()
    x, y = np.round(places.middle[17]).astype(int)
    samples[y - 1 : y + 2, x - 1 : x + 2] = 13_000
    truth = truth_of(places, BLUR)[17]
    found = measure_edges(replace(shot, samples=samples), places, threads=1)
    for edges in found.values():
        assert abs(edges.mtf50[17] / truth - 1) < 4 * edges.mtf50_sigma[17] / edges.mtf50[17]
        assert abs(edges.offset_px[17]) < 4 * edges.offset_sigma_px[17]
