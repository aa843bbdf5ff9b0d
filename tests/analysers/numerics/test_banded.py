"""Banded systems by the thousand, against SciPy's solver of one (LAPACK's pbsv)."""

import numpy as np
import pytest
from scipy.linalg import solveh_banded

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


def test_determinants_are_numpys(bands):
    sign, size = np.linalg.slogdet(dense(bands))
    assert np.all(sign == 1)
    assert banded.log_determinant(banded.factored(bands)) == pytest.approx(size)


def test_products_are_those_of_the_whole_matrices(bands):
    x = np.random.default_rng(3).normal(size=(7, 12))
    assert banded.times(bands, x) == pytest.approx(np.einsum("nij,nj->ni", dense(bands), x))
