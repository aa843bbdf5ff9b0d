"""Edges on textured paper: the spread over many papers, drawn here, against the intervals of single edges."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from lensbench.analysers.edge import measure_edges, tile_edges
from tests import known_edges as known
from tests.analysers.edge.edge_benches import bench, found_on, slants, truth_of

BLUR = known.gaussian(1.5)
PAPERS = 8


@pytest.fixture(scope="module")
def sheet():
    return known.tile_sheet(BLUR, 4, 3, pitch=256, leg=150.0)


def paper(shape, rms, across, seed):
    """Reflectance over its mean; white noise filtered by a Gaussian of σ correlates as exp(-d²/4σ²)."""
    noise = gaussian_filter(np.random.default_rng(seed).standard_normal(shape), across / 2, mode="wrap")
    return 1 + rms * noise / noise.std()


def measured(sheet, rms, across, seed):
    light = sheet.light * paper(sheet.light.shape, rms, across, seed) if rms else sheet.light
    return measure_edges(known.expose(light, seed=seed), tile_edges(found_on(sheet)), ["green"], threads=1)[
        "green"
    ]


@pytest.mark.parametrize(("rms", "across"), [(0.01, 5.0), (0.02, 2.0), (0.02, 12.0), (0.02, 30.0)])
def test_intervals_hold_whatever_the_paper(sheet, rms, across):
    truth = truth_of(tile_edges(found_on(sheet)), BLUR)
    # A Gaussian edge's 10-90 % rise is 2.563 σ (normal tables), the pixel's own variance of 1/12 px² added.
    rise = 2.563 * np.sqrt(1.5**2 + 1 / 12)
    found = [measured(sheet, rms, across, 9000 + seed) for seed in range(PAPERS)]
    for off, claim in (
        ([e.mtf50 - truth for e in found], [e.mtf50_sigma for e in found]),
        ([e.offset_px for e in found], [e.offset_sigma_px for e in found]),
        ([e.rise_px - rise for e in found], [e.rise_sigma_px for e in found]),
    ):
        off, claim = np.concatenate(off), np.concatenate(claim)
        assert np.isfinite(off).all()
        assert np.mean(np.abs(off) < 1.96 * claim) >= 0.93
        assert 1.96 * np.median(claim) <= 2 * np.quantile(np.abs(off), 0.95)


def test_tail_light_is_not_made_up_of_texture():
    """Free edges of a perfect lens, whose light fades as 1/z: what a texture does far out looks much like it."""
    lens = known.airy(3.0)
    made = bench(lens, slants(12, 31), 256, 190.0, white=0.75, dark=0.03, seed=31)
    found = []
    for seed in range(9300, 9300 + 2 * PAPERS):
        shot = known.expose(made.scene.light * paper(made.scene.light.shape, 0.01, 12.0, seed), seed=seed)
        found.append(measure_edges(shot, made.places, ["green"], threads=1)["green"])
    hold(found, made.mtf50, [rise_of(known.with_pixel(lens, angle)) for angle in made.scene.angle])


def test_crosstalk_is_as_unsure_as_tail_light_on_textured_paper():
    lens = known.airy(3.0)
    sheet = known.tile_sheet(lens, 4, 3, pitch=256, leg=150.0)
    places = tile_edges(found_on(sheet))
    angles = np.arctan2(places.normal[:, 1], places.normal[:, 0])
    found = [measured(sheet, 0.02, 5.0, 9400 + seed) for seed in range(PAPERS)]
    hold(found, truth_of(places, lens), [rise_of(known.with_pixel(lens, angle)) for angle in angles])


def hold(found, mtf50, rise):
    """Intervals of MTF50 and rise hold the truth, and are no wider than twice the errors' 95th percentile."""
    for off, claim in (
        ([e.mtf50 - mtf50 for e in found], [e.mtf50_sigma for e in found]),
        ([e.rise_px - rise for e in found], [e.rise_sigma_px for e in found]),
    ):
        off, claim = np.concatenate(off), np.concatenate(claim)
        assert np.isfinite(off).all()
        assert np.mean(np.abs(off) < 1.96 * claim) >= 0.93
        assert 1.96 * np.median(claim) <= 2 * np.quantile(np.abs(off), 0.95)


def rise_of(transfer):
    """Distance from 10 to 90 % of a blurred edge, in pixels."""
    at = np.linspace(-60, 60, 48001)
    return np.diff(np.interp([0.1, 0.9], known.profile(transfer)(at), at))[0]


def test_an_even_paper_costs_nothing(sheet):
    """Where samples are independent, the spread over exposures alone is what is claimed."""
    found = [measured(sheet, 0.0, 1.0, 9100 + seed) for seed in range(PAPERS)]
    spread = np.std([e.mtf50 for e in found], axis=0, ddof=1)
    claimed = np.median([e.mtf50_sigma for e in found], axis=0)
    assert np.median(claimed / spread) < 1.35


def test_the_interval_is_that_of_the_edges_own_paper(sheet):
    """Half of the sheet is on even paper: only the other half's intervals widen much."""
    seed = 9200
    texture = paper(sheet.light.shape, 0.02, 12.0, seed)
    middle = sheet.light.shape[1] // 2
    texture[:, middle:] = 1
    places = tile_edges(found_on(sheet))
    found = measure_edges(known.expose(sheet.light * texture, seed=seed), places, ["green"], threads=1)["green"]
    even = measured(sheet, 0.0, 1.0, seed)
    wider = found.mtf50_sigma / even.mtf50_sigma
    left = places.middle[:, 0] < middle
    assert np.median(wider[left]) > 1.6 * np.median(wider[~left])
