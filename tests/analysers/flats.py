"""Flats made by hand: even light, cos⁴ falloff, photon, reading and gain noise, planted dirt; no simulator."""

from __future__ import annotations

import numpy as np

from lensbench.shot import Shot

BAYER = np.array([[0, 1], [2, 3]], np.uint8)
BLACK, WHITE = 512.0, 16383.0
FULL_ELECTRONS = 30000.0
READ_ELECTRONS = 3.0
COLOUR_LIGHT = (0.55, 1.0, 1.0, 0.7)
"""Light of red, green, green and blue in an even white light, before any white balance."""


def grid(size):
    """Coordinates from the frame's centre, shapes (1, width) and (height, 1), in px."""
    width, height = size
    x = np.arange(width, dtype=np.float32) - np.float32((width - 1) / 2)
    y = np.arange(height, dtype=np.float32) - np.float32((height - 1) / 2)
    return x[None, :], y[:, None]


def cos4(size, corner_stops, centre=(0.0, 0.0)):
    """Relative light after cos⁴, with `corner_stops` of falloff at h = 1."""
    tangent2 = 2 ** (corner_stops / 2) - 1
    x, y = grid(size)
    r2 = ((x - centre[0]) ** 2 + (y - centre[1]) ** 2) / (np.hypot(*size) / 2) ** 2
    return (1 / (1 + r2 * np.float32(tangent2)) ** 2).astype(np.float32)


def flat(
    light,
    seed=0,
    level=0.75,
    gain_noise=0.005,
    pattern=BAYER,
    colours=("red", "green", "green", "blue"),
    strengths=COLOUR_LIGHT,
    hot=0.0,
    name="flat.dng",
):
    """A Shot of relative light (1 at the brightest), greens at `level` of full scale.

    `hot` is the share of pixels that are hot or dead, with values anywhere between black and white.
    """
    rng = np.random.default_rng(seed)
    height, width = light.shape
    strength = np.asarray(strengths, np.float32)[pattern]
    tiled = np.tile(strength, (-(-height // pattern.shape[0]), -(-width // pattern.shape[1])))[:height, :width]
    electrons = light * tiled * np.float32(level * FULL_ELECTRONS)
    electrons *= 1 + np.float32(gain_noise) * rng.standard_normal(light.shape, np.float32)
    variance = np.maximum(electrons, 0) + np.float32(READ_ELECTRONS**2)
    electrons += np.sqrt(variance) * rng.standard_normal(light.shape, np.float32)
    stored = electrons * np.float32((WHITE - BLACK) / FULL_ELECTRONS) + np.float32(BLACK)
    if hot:
        places = rng.integers(0, stored.size, int(hot * stored.size))
        stored.flat[places] = rng.uniform(BLACK, WHITE, len(places))
    samples = np.clip(np.rint(stored), 0, WHITE).astype(np.uint16)
    count = len(colours)
    return Shot(name, samples, pattern, colours, np.full(count, BLACK), WHITE, np.ones(count))
