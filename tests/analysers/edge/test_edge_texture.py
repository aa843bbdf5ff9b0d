"""Edges on textured paper: the spread over many papers, drawn here, against the intervals of single edges."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from lensbench.analysers.edge import measure_edges, tile_edges
from tests import known_edges as known
from tests.analysers.edge.edge_benches import found_on, truth_of

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
