"""Smooth surfaces through functions that they can follow exactly, and past outliers."""

import numpy as np
import pytest

from lensbench.analysers.numerics.surfaces import fit_robust_surface, nodes, surface_through

SIZE = (640, 480)


def cubic(x, y):
    """A polynomial that cubic splines hold exactly."""
    x, y = np.asarray(x)[None, :] / 640, np.asarray(y)[:, None] / 480
    return 1 + x - 2 * y + x * y**2 - 0.5 * x**3


def test_a_surface_through_a_cubic_is_that_cubic():
    surface = surface_through(cubic(*nodes(SIZE, (6, 7))), SIZE, (6, 7))
    x, y = np.linspace(0, 639, 50), np.linspace(0, 479, 50)
    assert surface.on_grid(x, y) == pytest.approx(cubic(x, y), abs=1e-9)
    assert surface.at(x, y) == pytest.approx(np.diag(cubic(x, y)), abs=1e-9)


def test_outliers_are_rejected():
    x, y = np.arange(8.0, 640, 16), np.arange(8.0, 480, 16)
    values = cubic(x, y) + np.random.default_rng(3).normal(0, 0.001, (len(y), len(x)))
    values[10, 12] += 1
    values[20, 30] -= 0.1
    surface, trust = fit_robust_surface(values, np.ones_like(values), x, y, SIZE, least_sigma=1e-4)
    assert trust[10, 12] == trust[20, 30] == 0
    assert np.median(trust) > 0.95
    assert surface.on_grid(x, y) == pytest.approx(cubic(x, y), abs=0.002)
