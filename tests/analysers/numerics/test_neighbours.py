"""Small grids held against SciPy and scikit-image, which the search for marks does without."""

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline
from scipy.ndimage import maximum_filter, median_filter
from skimage.morphology import reconstruction

from lensbench.analysers.dust._border_light import _splines_through
from lensbench.analysers.numerics.neighbours import carried_on, greatest_around, median_around


@pytest.fixture(scope="module")
def grid():
    return np.random.default_rng(1).normal(size=(31, 46))


def test_medians_and_greatest_values_are_those_of_scipy(grid):
    assert np.array_equal(median_around(grid, 2), median_filter(grid, 5))
    assert np.array_equal(median_around(grid, 1, slice(3, 9), slice(40, 46)), median_filter(grid, 3)[3:9, 40:])
    assert np.array_equal(greatest_around(grid), maximum_filter(grid, 3))
    assert np.array_equal(greatest_around(grid > 2), maximum_filter(grid > 2, 3))


def test_what_is_carried_on_is_the_reconstruction_by_dilation(grid):
    most = np.abs(median_filter(grid, 3))
    start = most.copy()
    start[1:-1, 1:-1] = 0
    assert np.array_equal(carried_on(start, most), reconstruction(start, most))


def test_splines_through_blocks_are_scipys():
    """Blocks of one width but for the last, as they lie on a frame."""
    blocks = np.append(30.5 + 62 * np.arange(45), 2811.0)
    places = np.linspace(0, 2831, 500)
    assert _splines_through(blocks, places) == pytest.approx(
        make_interp_spline(blocks, np.eye(46), k=3)(places), abs=1e-8
    )
