"""The noise read off a shot against the noise put into it."""

import numpy as np
import pytest
from scipy.optimize import nnls

from lensbench.noise import _least_squares_above_0, estimate_noise
from lensbench.shot import Shot
from lensbench.uniform_blocks import read_uniform_blocks

BAYER = np.array([[0, 1], [3, 2]], np.uint8)
FULL_SCALE_E, READ_E, GAIN_SPREAD = 30_000, 3.0, 0.006


def noisy_shot(light_e, seed=0, pattern=BAYER):
    """A Bayer shot of a picture given in electrons, one stored unit being two electrons, black at 512."""
    rng = np.random.default_rng(seed)
    pixels = light_e * (1 + GAIN_SPREAD * rng.standard_normal(light_e.shape))
    electrons = rng.poisson(pixels) + READ_E * rng.standard_normal(light_e.shape)
    stored = np.clip(np.round(electrons / 2 + 512), 0, FULL_SCALE_E / 2 + 512).astype(np.uint16)
    names = ("red", "green", "blue", "green")
    return Shot("noisy.dng", stored, pattern, names, np.full(4, 512.0), FULL_SCALE_E / 2 + 512, np.ones(4))


def true_variance(light):
    """In stored units; 1/12 is what rounding to whole numbers adds."""
    return (READ_E / 2) ** 2 + 1 / 12 + light / 2 + (GAIN_SPREAD * light) ** 2


def assert_right(noise, lights, tolerance=0.03):
    for light in lights:
        assert noise.variance(light) == pytest.approx(true_variance(light), rel=tolerance)


def test_flat_with_falloff():
    y, x = np.mgrid[0:900, 0:1400]
    light = 22_000 * 2 ** (-1.5 * np.hypot(x - 700, y - 450) / 830)
    noise = estimate_noise(read_uniform_blocks(noisy_shot(light)))
    assert_right(noise, [4500, 8000, 11_000])


def test_edges_and_marks_do_not_count_as_noise():
    y, x = np.mgrid[0:900, 0:1400]
    squares = ((x + 0.1 * y) % 200 < 90) & ((y - 0.1 * x) % 200 < 90)
    light = np.where(squares, 900.0, 21_000.0)
    for channel in ("red", "green", "blue"):
        assert_right(estimate_noise(read_uniform_blocks(noisy_shot(light, seed=3), channel)), [450, 10_500], 0.05)


def test_hot_pixels_do_not_count_as_noise():
    light = np.full((600, 800), 10_000.0)
    hot = np.random.default_rng(5).integers(0, 600 * 800, 300)
    light.ravel()[hot] = 28_000
    assert_right(estimate_noise(read_uniform_blocks(noisy_shot(light, seed=6))), [5000], 0.05)


def test_wholly_clipped_or_tiny_shots_have_no_noise_to_read():
    assert estimate_noise(read_uniform_blocks(noisy_shot(np.full((300, 300), 40_000.0)))) is None
    assert estimate_noise(read_uniform_blocks(noisy_shot(np.full((10, 10), 1000.0)))) is None


def test_least_squares_above_0_is_scipys():
    rng = np.random.default_rng(3)
    for _ in range(40):
        columns, values = rng.normal(size=(24, 3)), rng.normal(size=24)
        assert _least_squares_above_0(columns, values) == pytest.approx(nnls(columns, values)[0], abs=1e-9)
