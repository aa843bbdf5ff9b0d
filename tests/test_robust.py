"""Robust statistics against SciPy's."""

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from lensbench.robust import cauchy_weight, robust_sigma


@pytest.mark.parametrize("axis", [None, 0, 1])
def test_the_spread_is_scipy_s(axis):
    values = np.random.default_rng(5).standard_t(3, (40, 7))
    assert robust_sigma(values, axis) == pytest.approx(
        median_abs_deviation(values, axis, scale="normal"), rel=1e-4
    )


def test_about_a_known_centre():
    assert robust_sigma([-3.0, -1.0, 1.0, 2.0, 8.0], about=0.0) == pytest.approx(2 * 1.4826)


def test_a_residual_of_one_scale_weighs_half():
    assert cauchy_weight(np.array([0.0, -2.0, 6.0]), 2.0) == pytest.approx([1, 0.5, 0.1])
