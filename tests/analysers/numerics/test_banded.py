"""Banded systems by the thousand, against SciPy's solver of one (LAPACK's pbsv) and dense matrices."""

import numpy as np
import pytest
from scipy.linalg import solveh_banded
from scipy.optimize import minimize_scalar

from lensbench.analysers.numerics import banded


def dense(bands):
    """Whole matrices of shape (n, K, K)."""
    upper = [[np.diag(row[: len(row) - d], d) for d, row in enumerate(one)] for one in bands]
    return np.array([sum(parts) + sum(part.T for part in parts[1:]) for parts in upper])


@pytest.fixture
def bands():
    """Some positive definite matrices, as upper bands."""
    bands = np.random.default_rng(1).uniform(-1, 1, (7, 4, 12))
    bands[:, 0] = 7 + bands[:, 0]
    for d in (1, 2, 3):
        bands[:, d, -d:] = 0
    return bands


def test_solutions_are_those_of_lapack(bands):
    right = np.random.default_rng(2).normal(size=(7, 3, 12))
    found = banded.solved(banded.factored(bands), right)
    for one, sides, solution in zip(bands, right, found, strict=True):
        # SciPy counts the lower form's columns as we count the upper form's rows.
        lapack = solveh_banded(one, sides.T, lower=True).T
        assert solution == pytest.approx(lapack)


def test_products_are_those_of_the_whole_matrices(bands):
    x = np.random.default_rng(3).normal(size=(7, 12))
    assert banded.times(bands, x) == pytest.approx(np.einsum("nij,nj->ni", dense(bands), x))


SIZE = 60
ROWS = np.tile([1.0, -2.0, 1.0], (SIZE - 2, 1))
"""Second differences."""
FIRST = np.arange(SIZE - 2)


def dense_rows():
    return np.array([np.pad(row, (k, SIZE - 3 - k)) for k, row in enumerate(ROWS)])


def test_expected_sums_are_added_as_products_over_their_variances():
    sigma = np.random.default_rng(4).uniform(0.5, 2, (3, SIZE - 2))
    bands = np.zeros((3, 4, SIZE))
    bands[:, 0] = 1
    found = dense(banded.with_rows(bands, ROWS, FIRST, sigma))
    for one, s in zip(found, sigma, strict=True):
        assert one == pytest.approx(np.eye(SIZE) + (dense_rows() / s[:, None] ** 2).T @ dense_rows())


def smooth_values(seed, sizes):
    """Noisy values whose second differences have such standard deviations, and the noise's."""
    rng = np.random.default_rng(seed)
    slopes = np.cumsum(sizes * rng.standard_normal(SIZE - 2))
    return np.concatenate([[0, 0], np.cumsum(slopes)]) + rng.standard_normal(SIZE)


def rescaled(
    values, zone, usual, doubt, turns, most=np.inf, seen=True, first=1.0, unknown=0.0, rows=ROWS, firsts=FIRST
):
    n, shape = len(values), (len(values), len(rows))
    bands = np.zeros((n, 4, values.shape[1]))
    bands[:, 0] = 1
    sizes = np.full(shape, usual), np.full(shape, unknown), np.full(shape, most), np.full(shape, seen)
    scales = np.full(zone.max() + 1, first)
    return banded.rescaled(bands, values, rows, firsts, zone, *sizes, scales, doubt, turns)


def test_the_scale_is_that_of_restricted_maximum_likelihood():
    """Second differences are normal with a known covariance: their likelihood is written down here."""
    one_zone = np.zeros(SIZE - 2, np.int64)
    values = np.array([smooth_values(seed, 0.5) for seed in range(4)])
    found = rescaled(values, one_zone, 0.2, 0.0, 200)[:, 0]
    differences, rows = values @ dense_rows().T, dense_rows()
    for d, sigma in zip(differences, found, strict=True):

        def unlikely(log_sigma, d=d):
            covariance = np.exp(2 * log_sigma) * np.eye(SIZE - 2) + rows @ rows.T
            return np.linalg.slogdet(covariance)[1] + d @ np.linalg.solve(covariance, d)

        best = np.exp(minimize_scalar(unlikely, bounds=(-5, 3), method="bounded").x)
        assert sigma == pytest.approx(best, rel=0.02)


def test_zones_find_their_own_scales_and_those_unseen_stay_as_usual():
    zone = (np.arange(SIZE - 2) >= SIZE // 2).astype(np.int64)
    values = np.array([smooth_values(seed, np.where(zone, 0.05, 2.0)) for seed in range(40)])
    found = np.median(rescaled(values, zone, 1.0, 0.1, 5), axis=0)
    assert found[0] == pytest.approx(2.0, rel=0.2)
    assert found[-1] < 0.3
    assert rescaled(values, zone, 1.0, 0.1, 5, seen=False) == pytest.approx(1.0)
    assert rescaled(values, zone, 1.0, 0.1, 5, most=0.4).max() == 0.4


def test_what_values_scatter_by_besides_is_not_taken_for_their_own():
    """Second differences of threes that share nothing: their variance in the data is the sum of three."""
    threes, own, besides = 3000, 0.8, 2.0
    rng = np.random.default_rng(7)
    difference = np.array([1.0, -2.0, 1.0])
    total = np.sqrt(own**2 + besides) * rng.standard_normal(threes)
    values = rng.standard_normal((threes, 3)) + total[:, None] * difference / 6
    apart = {"rows": np.tile(difference, (threes, 1)), "firsts": 3 * np.arange(threes)}
    for unknown, expected in ((besides, own), (0.0, np.sqrt(own**2 + besides))):
        found = rescaled(values.reshape(1, -1), np.zeros(threes, np.int64), 1.0, 0.0, 50, unknown=unknown, **apart)
        assert found == pytest.approx(expected, rel=0.1)


def test_values_that_scatter_by_far_more_besides_tell_no_scale():
    zone = np.zeros(SIZE - 2, np.int64)
    values = np.array([smooth_values(seed, 2.0) for seed in range(40)])
    assert rescaled(values, zone, 1.0, 0.1, 5, unknown=1e6) == pytest.approx(1.0, rel=0.01)
