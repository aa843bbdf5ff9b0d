"""Light to numbers: noise, levels, faults, colour filter arrays."""

import numpy as np
import pytest

from lensbench.simulator.camera import Camera

SIX_BY_SIX = ((1, 1, 0, 1, 1, 2), (1, 1, 2, 1, 1, 0), (2, 0, 1, 0, 2, 1),
           (1, 1, 2, 1, 1, 0), (1, 1, 0, 1, 1, 2), (0, 2, 1, 2, 0, 1))  # fmt: skip


def grey(**changes):
    return Camera(
        **{"size": (400, 300), "sensor_mm": (4.0, 3.0), "pattern": ((0,),), "colours": ("grey",)} | changes
    )


def even(camera, level):
    return np.full(camera.blank().samples.shape, level, np.float32)


@pytest.mark.parametrize("level", [0.0, 0.002, 0.05, 0.75])
def test_noise_is_that_of_photons_reading_and_gain(level):
    """Variance in electrons: N + σ² + (gN)² and a rounding step's twelfth (Janesick, Photon Transfer; memory)."""
    camera = grey()
    shot = camera.expose(even(camera, level), "even", seed=5)
    light = (shot.samples.astype(float) - 512) * 30000 / 15359
    electrons = 30000 * level
    variance = electrons + 9 + (0.005 * electrons) ** 2 + (30000 / 15359) ** 2 / 12
    assert light.mean() == pytest.approx(electrons, abs=4 * np.sqrt(variance / light.size))
    assert light.var() == pytest.approx(variance, rel=4 * np.sqrt(2 / light.size) + 0.002)


def test_the_pixels_own_pattern_stays_and_photons_do_not():
    camera = grey(read_noise=0.0, full_well=1e6, pixel_gain=0.02)
    one, two = (camera.expose(even(camera, 0.5), "even", seed=s).samples.astype(float) for s in (1, 2))
    assert np.corrcoef(one.ravel(), two.ravel())[0, 1] > 0.9
    other = grey(read_noise=0.0, full_well=1e6, pixel_gain=0.02, body=2).expose(even(camera, 0.5), "even", seed=1)
    assert abs(np.corrcoef(one.ravel(), other.samples.ravel())[0, 1]) < 0.05


def test_the_same_seed_takes_the_same_shot():
    camera = grey()
    one, two = (camera.expose(even(camera, 0.3), "even", seed=7).samples for _ in range(2))
    assert (one == two).all()


def test_clips_at_white():
    camera = grey()
    assert (camera.expose(even(camera, 1.5), "bright", seed=1).samples == 15871).all()


def test_hot_and_dead_pixels_stay_where_they_are():
    camera = grey(hot=20, dead=10, pixel_gain=0.0)
    one, two = (camera.expose(even(camera, 0.2), "even", seed=s).samples.astype(float) for s in (1, 2))
    clean = 512 + 0.2 * 15359
    for shot in (one, two):
        assert 15 <= (shot > clean + 600).sum() <= 20
        assert 5 <= (shot < clean - 600).sum() <= 10
    assert ((one > clean + 600) == (two > clean + 600)).all()


@pytest.mark.parametrize("pattern", [((0, 1), (3, 2)), ((3, 0), (2, 1)), SIX_BY_SIX])
def test_every_sample_has_its_colours_sensitivity(pattern):
    camera = Camera((120, 90), (1.2, 0.9), pattern, green_imbalance=0.04, pixel_gain=0.0, full_well=1e7)
    shot = camera.expose(even(camera, 0.5), "even", seed=1)
    light = (shot.samples - 512.0) / 15359 / 0.5
    index = np.tile(np.array(pattern), (90 // len(pattern), 120 // len(pattern[0])))
    for i, sensitivity in enumerate((0.7, 1.0, 0.8, 1.04)):
        if (index == i).any():
            assert light[index == i].mean() == pytest.approx(sensitivity, rel=1e-3)


def test_planes_of_every_colour():
    camera = Camera((60, 50), (0.6, 0.5), None, ("red", "green", "blue"), pixel_gain=0.0, full_well=1e7)
    shot = camera.expose(even(camera, 0.5), "even", seed=1)
    assert shot.samples.shape == (50, 60, 3)
    light = (shot.samples - 512.0) / 15359 / 0.5
    assert light.mean(axis=(0, 1)) == pytest.approx([0.7, 1.0, 0.8], rel=1e-3)
