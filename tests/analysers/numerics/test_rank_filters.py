"""Filters of small grids against SciPy's and scikit-image's, which `lensbench check` has no time to import."""

import numpy as np
import pytest
from scipy import ndimage
from skimage import morphology

from lensbench.analysers.numerics.rank_filters import (
    detrended_median_filter,
    maximum_filter,
    median_filter,
    reconstruction,
)


@pytest.fixture(scope="module")
def grid():
    return np.random.default_rng(1).normal(size=(31, 46))


def test_medians_and_maxima_are_those_of_scipy(grid):
    assert np.array_equal(median_filter(grid, 2), ndimage.median_filter(grid, 5))
    part = median_filter(grid, 1, slice(3, 9), slice(40, 46))
    assert np.array_equal(part, ndimage.median_filter(grid, 3)[3:9, 40:])
    assert np.array_equal(maximum_filter(grid), ndimage.maximum_filter(grid, 3))
    assert np.array_equal(maximum_filter(grid > 2), ndimage.maximum_filter(grid > 2, 3))


def test_reconstruction_by_dilation_is_scikit_images(grid):
    mask = np.abs(ndimage.median_filter(grid, 3))
    marker = mask.copy()
    marker[1:-1, 1:-1] = 0
    assert np.array_equal(reconstruction(marker, mask), morphology.reconstruction(marker, mask))


def test_detrended_medians_continue_a_gradient_beyond_the_border(grid):
    plane = np.add.outer(0.3 * np.arange(31), -0.7 * np.arange(46))
    assert detrended_median_filter(plane, 3) == pytest.approx(plane)
    # Away from the border it is the plain median.
    inner = np.s_[4:-4, 4:-4]
    assert np.array_equal(detrended_median_filter(grid, 3)[inner], ndimage.median_filter(grid, 7)[inner])
