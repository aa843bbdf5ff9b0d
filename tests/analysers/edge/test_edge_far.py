"""What dark figures keep from places far off: against sums over small squares, and soft lenses on whole sheets."""

import numpy as np
import pytest

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.edge._crosstalk_loops import subtended
from lensbench.analysers.edge._far_light import SEEN_WHOLE, kept_by_figures
from tests import known_edges as known
from tests.analysers.edge.edge_benches import found_on, truth_of

CORNERS = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]])


@pytest.mark.parametrize("place", [(300.0, 400.0), (50.0, -30.0), (120.0, -20.0), (-25.0, 0.0), (90.0, 60.0)])
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0)])
def test_it_is_the_sum_over_the_figure(place, order):
    fine = (np.arange(1000) + 0.5) / 10
    x, y = np.meshgrid(fine, fine)
    away = np.hypot(x - place[0], y - place[1])[x + y < 100]
    # An endless edge keeps ∬ c/r³ = 2c/u.
    true = (0.1**2 / away**3).sum() / 2
    found = kept_by_figures(CORNERS[None, None, list(order)], np.array([0]), np.array([place]))
    assert found == pytest.approx(true, rel=0.01)


def test_figures_after_the_nearest_count_as_points():
    far = CORNERS + np.array([300.0, -250.0])
    nowhere = np.full((SEEN_WHOLE, 3, 2), np.nan)
    owner, at = np.zeros(3, int), np.array([[0.0, -20.0], [0.0, 0.0], [0.0, 30.0]])
    near = kept_by_figures(far[None, None], owner, at)
    alike = kept_by_figures(np.array([[*nowhere, far]]), owner, at)
    assert alike == pytest.approx(near, rel=0.05)


def test_an_edge_seen_from_near_is_endless_and_beyond_its_end_nothing():
    one = np.ones(1)
    assert subtended(0.01 * one, 0 * one, 50 * one) == pytest.approx(1)
    assert subtended(0.01 * one, 80 * one, 50 * one) == pytest.approx(0, abs=1e-6)
    assert subtended(one, 50 * one, 50 * one) == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("soft", [2.2, 4.0])
def test_a_perfect_lens_stopped_far_down_is_measured_on_whole_sheets(soft):
    # Its tails reach from tile to tile; λN is `soft` pixels, as at f/16 at life size with pixels of 4 or 8 µm.
    lens = known.airy(soft)
    sheet = known.whole_sheet(lens, 5, 3, pitch=200, leg=112.0)
    places = tile_edges(found_on(sheet))
    truth = truth_of(places, lens)
    for colour, edges in measure_edges(known.expose(sheet.light, seed=5), places, threads=1).items():
        assert edges.measured.mean() > 0.95
        ok = edges.measured
        error = (edges.mtf50 / truth - 1)[ok]
        assert abs(error.mean()) < 0.005
        assert error.std() < (0.006 if colour == "green" else 0.012)
        assert np.mean(np.abs(error) < 1.96 * (edges.mtf50_sigma / truth)[ok]) > 0.88
