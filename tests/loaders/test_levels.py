"""Where a shot clips, and how its greens differ, from its own samples; scenes with known photon noise."""

import numpy as np
import pytest

from lensbench.loaders.levels import clipping_level, like_gains
from tests.invented_shots import BAYER, RGBG, drawn_target, falloff, mosaic_of, shot_of


def bayer(samples, white=16383):
    return shot_of(samples, BAYER["RGGB"], RGBG, white=white)


@pytest.mark.parametrize("level", [0.2, 0.5, 0.75, 0.86, 0.9, 0.95, 0.98])
@pytest.mark.parametrize("electrons", [8_000, 30_000, 120_000])
def test_even_light_that_does_not_clip_is_left_alone(level, electrons):
    """Photon noise spreads it, even in a sensor that holds 120,000 electrons: no spike."""
    light = np.full((500, 800), level)
    samples = mosaic_of(light, full_scale=16383 - 512, electrons=electrons)
    assert clipping_level(bayer(samples)) == 16383


@pytest.mark.parametrize("clip", [14200, 15000, 15800])
@pytest.mark.parametrize("noise", [0, 2])
@pytest.mark.parametrize("part", [0.002, 0.3, 1.0])
def test_a_plateau_below_white_is_where_it_clips(clip, noise, part):
    """Whether sharp or with a little noise behind the clipping; whether a patch or the whole frame."""
    light = falloff(800, 500, stops=2)
    light[: round(500 * part)] = 3
    samples = mosaic_of(light, full_scale=clip - 512)
    random = np.random.default_rng(2)
    added = np.rint(random.normal(0, noise, samples.shape)).astype(int)
    noisy = (samples + np.where(samples == clip, added, 0)).astype(np.uint16)
    level = clipping_level(bayer(noisy))
    assert clip - 3 * 8 <= level <= clip - 2 * noise
    assert np.mean(noisy[samples == clip] >= level) > 0.999


def test_a_single_channel_that_clips_is_enough():
    samples = mosaic_of(falloff(800, 500, stops=0.5), full_scale=14800, tint=(1, 1, 1.6, 1))
    assert 15288 <= clipping_level(bayer(samples)) <= 15312


def test_hot_pixels_do_not_hide_the_plateau():
    light = falloff(800, 500)
    light[:100] = 3
    samples = mosaic_of(light, full_scale=14800)
    samples.ravel()[::5000] = 16000
    assert 15288 <= clipping_level(bayer(samples)) <= 15312


def test_eight_bits_are_too_coarse_to_tell():
    samples = np.random.default_rng(1).integers(0, 240, (500, 800), dtype=np.uint8)
    assert clipping_level(shot_of(samples, [[0]], ("grey",), black=0, white=255)) == 255


@pytest.mark.parametrize("gain", [0.97, 0.995, 1.0, 1.004, 1.05])
@pytest.mark.parametrize("scene", ["flat", "target"])
def test_greens_gain(gain, scene):
    light = falloff(1200, 800) if scene == "flat" else drawn_target(1200, 800)
    shot = bayer(mosaic_of(light, tint=(0.6, 1, 0.8, 1 / gain)))
    assert like_gains(shot)[3] == pytest.approx(gain, abs=1e-3)


@pytest.mark.parametrize(
    "samples",
    [
        np.random.default_rng(1).integers(0, 15000, (300, 400), dtype=np.uint16),
        np.full((300, 400), 16383, dtype=np.uint16),
        np.full((300, 400), 512, dtype=np.uint16),
        np.zeros((300, 400), dtype=np.uint16),
        mosaic_of(falloff(60, 40)),
    ],
    ids=["chaos", "all clipped", "all black", "under black", "tiny"],
)
def test_greens_gain_is_one_where_nothing_tells_it(samples):
    assert np.all(like_gains(bayer(samples)) == 1)


def test_greens_that_differ_as_two_colours_are_no_imbalance():
    shot = bayer(mosaic_of(falloff(800, 500), tint=(1, 1, 1, 0.7)))
    assert np.all(like_gains(shot) == 1)
