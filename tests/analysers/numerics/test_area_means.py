"""Means over areas from scattered points: against polynomials, drawn random fields, and SciPy's splines."""

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from lensbench.analysers.numerics.area_means import area_means

GRID = np.stack(np.meshgrid(np.linspace(-1, 1, 41), np.linspace(-1, 1, 41)), axis=-1).reshape(-1, 2)
AREAS = [GRID[(GRID[:, 0] < 0) & (GRID[:, 1] < 0)], GRID[(GRID > 0.5).all(axis=1)], GRID]


def scattered(n, seed):
    """A lattice over the square, shaken by a fifth of its pitch."""
    across = int(np.ceil(np.sqrt(n)))
    nodes = (np.stack(np.meshgrid(*[np.arange(across)] * 2), axis=-1).reshape(-1, 2)[:n] + 0.5) * 2 / across - 1
    return nodes + np.random.default_rng(seed).uniform(-0.4, 0.4, (n, 2)) / across


def test_a_quadratic_is_averaged_exactly():
    points = scattered(64, 1)

    def field(p):
        return 3 + p[:, 0] - 2 * p[:, 1] + 0.5 * p[:, 0] * p[:, 1] - p[:, 1] ** 2

    found = area_means(points, field(points), 1e-12 * np.eye(64), AREAS)
    assert found.mean == pytest.approx([field(area).mean() for area in AREAS], abs=1e-4)


def test_few_points_tell_nothing_of_areas():
    assert area_means(scattered(5, 1), np.ones(5), np.eye(5), AREAS) is None


def test_an_area_without_values_near_has_no_mean():
    points = scattered(64, 2) * [0.4, 1] - [0.6, 0]
    found = area_means(points, points[:, 0], 1e-6 * np.eye(64), AREAS)
    assert np.isfinite(found.mean).tolist() == [True, False, True]


@pytest.mark.parametrize("seed", [3, 4, 5, 6])
def test_it_lies_nearer_to_the_truth_than_smooth_splines_do(seed):
    """SciPy's thin-plate splines through the same points, averaged over the areas."""
    points = scattered(81, seed)

    def field(p):
        return np.sin(2 * p[:, 0]) * np.cos(1.5 * p[:, 1])

    found = area_means(points, field(points), 1e-8 * np.eye(81), AREAS)
    surface = RBFInterpolator(points, field(points))
    ours, theirs = (
        np.abs(means - [field(area).mean() for area in AREAS])
        for means in (found.mean, np.array([surface(area).mean() for area in AREAS]))
    )
    assert ours.max() < theirs.max() < 0.01
    assert np.all(ours < 1.96 * found.sigma + 1e-4)


def drawn_field(rng):
    """Sums of waves of lengths from 1.5 on, all ways: nothing of the package's own model is in them."""
    count = 6
    wave = rng.normal(0, 1, (count, 2))
    wave *= (2 * np.pi / rng.uniform(1.5, 6, count) / np.hypot(*wave.T))[:, None]
    size, phase = rng.normal(0, 0.3, count), rng.uniform(0, 2 * np.pi, count)
    return lambda p: (size * np.cos(p @ wave.T + phase)).sum(axis=1)


@pytest.mark.parametrize(("n", "noise"), [(144, 0.01), (64, 0.03), (25, 0.05)])
def test_intervals_hold_the_areas_means(n, noise):
    scores, errors, halves = [], [], []
    for seed in range(120):
        rng = np.random.default_rng([n, seed])
        field, points = drawn_field(rng), scattered(n, seed)
        found = area_means(points, field(points) + noise * rng.standard_normal(n), noise**2 * np.eye(n), AREAS)
        off = found.mean - [field(area).mean() for area in AREAS]
        scores += list(np.abs(off) < 1.96 * found.sigma)
        errors += list(np.abs(off))
        halves += list(1.96 * found.sigma)
    # The field's own shape sets the figure: 93 % at least, and no wide intervals as a way out.
    assert np.mean(scores) >= 0.93
    assert np.median(halves) < 2 * np.quantile(errors, 0.95)
