"""Shots of one setting that differ, in the intervals of zones: variance components of a two-way table."""

import numpy as np

from lensbench.analysers.sharpness._between_shots import variance_between_shots

TILES = 12
TILE, SHOT = np.tile(np.arange(TILES), 2), np.repeat([0, 1], TILES)


def seen(rng, softer, noise):
    """Two shots of twelve tiles, the second softer by a share."""
    true = np.concatenate([np.linspace(0.2, 0.3, TILES)] * 2) * np.where(SHOT == 1, 1 - softer, 1)
    return true + noise * rng.standard_normal(2 * TILES)


def test_the_mean_of_two_unlike_shots_is_as_unsure_as_they_lie_apart():
    # Searle, Casella, McCulloch, Variance Components (1992; memory): of two shots a and b the variance of the mean
    # is (a - b)² / 4 by all that differs, so its root half of what they lie apart.
    rng = np.random.default_rng(4_771)
    value = seen(rng, 0.03, 0.001)
    apart = value[TILES:].mean() - value[:TILES].mean()
    sigma = variance_between_shots(value, np.full(2 * TILES, 1e-6), TILE, SHOT) ** 0.5
    assert 0.9 * abs(apart) / 2 < sigma <= abs(apart) / 2


def test_like_shots_make_no_difference():
    rng = np.random.default_rng(4_772)
    noise = np.full(2 * TILES, 1e-6)
    more = [variance_between_shots(seen(rng, 0.0, 0.001), noise, TILE, SHOT) for _ in range(500)]
    assert np.mean(np.array(more) > 0) < 0.01


def test_one_shot_or_other_tiles_tell_nothing():
    value = np.linspace(0.2, 0.3, 2 * TILES)
    noise = np.full(2 * TILES, 1e-8)
    assert variance_between_shots(value, noise, np.arange(2 * TILES), SHOT) == 0
    assert variance_between_shots(value, noise, np.arange(2 * TILES), 0 * SHOT) == 0
