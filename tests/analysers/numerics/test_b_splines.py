"""B-splines against SciPy's, which take too long to import for `lensbench check`."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from lensbench.analysers.numerics.b_splines import spline_basis, third_difference_penalty


def test_splines_are_scipys():
    length, splines = 600, 11
    positions = np.linspace(-0.5, 599.4, 400)
    knots = -0.5 + length / (splines - 3) * np.arange(-3, splines + 1)
    expected = BSpline.design_matrix(positions, knots, 3).toarray()
    assert spline_basis(positions, length, splines) == pytest.approx(expected, abs=1e-12)


def test_parabolas_cost_nothing_and_cubics_do():
    number = np.arange(9.0)
    for power, cost in ((2, 0), (3, 6**2 * 6)):
        assert number**power @ third_difference_penalty(9) @ number**power == pytest.approx(cost, abs=1e-6)
