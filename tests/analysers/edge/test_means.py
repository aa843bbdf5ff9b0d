"""Edges' fits for means against the fit of all their samples together."""

import numpy as np
import pytest

from lensbench.analysers.edge import LEAST_AVERAGED
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._equations import factors_of
from lensbench.analysers.numerics import banded


def test_the_mean_of_rougher_profiles_is_the_one_of_all_samples():
    """By algebra: n equations (A + P / n) x = b, of one A and P, add up to (n A + P) x̄ = Σ b."""
    rng = np.random.default_rng(1)
    n, size = LEAST_AVERAGED, profile.COEFFICIENTS
    bands = np.zeros((1, 4, size))
    bands[0, 0] = rng.uniform(50, 500, size)
    right = rng.normal(0, 100, (n, 1, size))
    sigma = rng.uniform(0.001, 0.1, (1, size))
    each = banded.solved(factors_of(np.repeat(bands, n, axis=0), np.sqrt(n) * np.repeat(sigma, n, axis=0)), right)
    together = banded.solved(factors_of(n * bands, sigma), right.sum(axis=0)[None])
    assert each.mean(axis=0)[0] == pytest.approx(together[0, 0], rel=1e-6, abs=1e-6)
