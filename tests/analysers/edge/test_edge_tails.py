"""Light far from an edge: mixtures of two Gaussian blurs, whose tails are in closed form."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr

from lensbench.analysers.edge import TAIL_STEPS
from tests import known_edges as known
from tests.analysers.edge.edge_benches import bench, slants

CORE, WIDE = 1.5, 9.0
PIXEL = 1 / 12
"""A square pixel's variance, which Gaussian blurs of these widths take as so much more of their own."""


def within(share, distance):
    """Light that lands nearer than a distance: of a share in the wide blur, the rest in the core."""
    core, wide = (2 * ndtr(np.asarray(distance) / np.hypot(s, np.sqrt(PIXEL))) - 1 for s in (CORE, WIDE))
    return (1 - share) * core + share * wide


def quartile_distance(share):
    """From 25 % to 75 % of the edge: twice where half of the light lies nearer."""
    return 2 * brentq(lambda z: within(share, z) - 0.5, 0.1, 30)


def mixed(share, **more):
    return bench(
        known.mixture((1 - share, known.gaussian(CORE)), (share, known.gaussian(WIDE))),
        slants(9, seed=12), cell=256, length=190.0, **more,
    )  # fmt: skip


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3])
def test_tails_are_those_of_the_blur(share):
    found = mixed(share).shown(known.MONO, seed=None)["grey"]
    assert found.quartile_px == pytest.approx(np.full(9, quartile_distance(share)), rel=0.01)
    distance = TAIL_STEPS * found.quartile_px[:, None]
    seen = distance < found.reach_px[:, None]
    assert seen.sum(axis=1).min() >= 4
    assert found.tail[seen] == pytest.approx(1 - within(share, distance)[seen], abs=0.002)


def test_tails_are_off_by_no_more_than_their_covariances_say():
    """Half of the intervals are no wider than twice the errors' 95th percentile."""
    made = mixed(0.2)
    error, half = [], []
    for seed in (3, 4, 5, 6):
        found = made.shown(seed=seed)["green"]
        true = 1 - within(0.2, TAIL_STEPS * found.quartile_px[:, None])
        error.append(np.abs(found.tail - true)[:, :3])
        covariance = found.tail_covariance + found.tail_model_covariance
        half.append(1.96 * np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))[:, :3])
    assert np.mean(np.array(error) < half) >= 0.93
    assert np.median(half) < 2 * np.percentile(error, 95)
