"""Parameters beside fields of unknown size: coverage on data drawn from the very model, by numpy alone."""

import numpy as np
import pytest

from lensbench.analysers.numerics.random_fields import SIZES, FieldFit, size_weights
from lensbench.analysers.numerics.smooth_fields import EVEN_SIZES, even_fields


def drawn(rng, size):
    """A fit of three parameters whose first resembles the first field; errors of the parameters and the fit."""
    n = 120
    model, fields = rng.standard_normal((n, 3)), 30 * rng.standard_normal((n, 6))
    fields[:, 0] = 30 * model[:, 0] + 0.3 * rng.standard_normal(n)
    data = model @ [2.0, -1.0, 0.5] + size * fields @ rng.standard_normal(6) + rng.standard_normal(n)
    solved = np.linalg.lstsq(model, data, rcond=None)[0]
    fit = FieldFit(-model, fields, data - model @ solved)
    moved = fit.moved(size_weights(fit, []))
    return (solved + moved.mean - [2.0, -1.0, 0.5]) / np.sqrt(np.diagonal(moved.by_noise + moved.by_fields))


def test_parameters_hold_as_often_as_they_claim():
    rng = np.random.default_rng(31_772_000)
    off = np.abs([drawn(rng, rng.choice(SIZES[3:-2])) for _ in range(400)])
    held = (off <= 1.96).mean(axis=0)
    # 400 draws: 95 % ± 3 × 1.1 %.
    assert held == pytest.approx(0.95, abs=0.035)


def test_no_fields_no_doubt():
    """Where fields stand apart from the parameters, the covariance is that of noise alone, (JᵀJ)⁻¹."""
    model, fields = np.eye(60, 2), np.eye(60)[:, 2:12]
    residual = np.concatenate([np.zeros(12), np.full(48, np.sqrt((48 - 12) / 48))])
    fit = FieldFit(-model, fields, residual)
    moved = fit.moved(size_weights(fit, []))
    assert moved.mean == pytest.approx(0, abs=1e-12)
    assert moved.by_noise == pytest.approx(np.eye(2), rel=1e-6)
    assert moved.by_fields == pytest.approx(0, abs=1e-12)


def test_others_tell_of_the_size():
    """Where a fit can't tell small fields from none, one that shows them does; its own size may be another one."""
    rng = np.random.default_rng(31_772_001)
    model, fields = rng.standard_normal((80, 2)), rng.standard_normal((80, 12))
    noise, coefficients = rng.standard_normal(80), rng.standard_normal(12)

    def fit(noise_px, size):
        data = size * fields @ coefficients / noise_px + noise
        solved = np.linalg.lstsq(model, data, rcond=None)[0]
        return FieldFit(-model / noise_px, fields / noise_px, data - model @ solved)

    blind, seeing = fit(10.0, 0.05), fit(0.005, 0.05)
    alone, told = size_weights(blind, []), size_weights(blind, [seeing])
    small = SIZES < 0.005
    assert alone[small].sum() > 0.3
    # A factor of ten is 2.3 standard deviations (`UNLIKE`) of its logarithm.
    assert told[small].sum() < 0.03
    assert abs(np.log(SIZES[told.argmax()] / 0.05)) < 1


def test_even_fields_by_hand():
    """At q = (0.6, -0.8), |q| = 1."""
    fields = even_fields(np.array([0.6, -0.8])) / EVEN_SIZES
    along, radial = np.eye(2), np.array([[0.36, -0.48], [-0.48, 0.64]])
    assert fields == pytest.approx(np.concatenate([along, along, radial, along, radial], axis=1))
    assert even_fields(np.array([-0.6, 0.8])) == pytest.approx(even_fields(np.array([0.6, -0.8])))
