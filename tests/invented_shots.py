"""Shots made of random numbers or drawn by hand, for the tests of what reads and writes them."""

import numpy as np
from skimage.draw import polygon2mask

from lensbench.shot import Exposure, Shot

RGB = ("red", "green", "blue")
RGBG = (*RGB, "green")
BAYER = {
    "RGGB": [[0, 1], [3, 2]],
    "BGGR": [[2, 3], [1, 0]],
    "GRBG": [[1, 0], [2, 3]],
    "GBRG": [[3, 2], [0, 1]],
}
SIX = [
    [1, 2, 1, 1, 0, 1],
    [0, 1, 0, 2, 1, 2],
    [1, 2, 1, 1, 0, 1],
    [1, 0, 1, 1, 2, 1],
    [2, 1, 2, 0, 1, 0],
    [1, 0, 1, 1, 2, 1],
]
KINDS = {
    **{name: (pattern, RGBG) for name, pattern in BAYER.items()},
    "6x6": (SIX, RGB),
    "grey": ([[0]], ("grey",)),
    "planes": (None, RGB),
}
"""Pattern and colours of every kind of sensor that is written and read."""

EXPOSURE = Exposure("Nightjar One", 1 / 60, 400, 5.6, 24.0, "2024-05-06 21:10:11", 6)


def shot_of(samples, pattern, colours, *, black=512.0, white=15871.0, exposure=EXPOSURE):
    """A shot of these samples."""
    pattern = None if pattern is None else np.array(pattern, dtype=np.uint8)
    black = np.broadcast_to(np.asarray(black, dtype=float), len(colours)).copy()
    return Shot("made.dng", samples, pattern, colours, black, white, np.ones(len(colours)), exposure)


def random_shot(kind, *, width=84, height=60, seed=1, **more):
    """A shot of random 14-bit samples, all different from their neighbours."""
    pattern, colours = KINDS[kind]
    shape = (height, width) if pattern is not None else (height, width, len(colours))
    samples = np.random.default_rng(seed).integers(0, 15000, shape, dtype=np.uint16)
    return shot_of(samples, pattern, colours, **more)


def mosaic_of(
    light, pattern=BAYER["RGGB"], *, full_scale=15359, electrons=30_000, black=512, tint=(1, 1, 1, 1), seed=1
):
    """Samples of a scene, 1 at full scale, with photon and reading noise, clipped at full scale.

    `tint` is the light of each colour index, 1 for as it is.
    """
    down, across = np.shape(pattern)
    height, width = light.shape
    factor = np.tile(np.asarray(tint, float)[np.array(pattern)], (-(-height // down), -(-width // across)))
    random = np.random.default_rng(seed)
    seen = random.poisson(light * factor[:height, :width] * electrons) + random.normal(0, 3, light.shape)
    stored = np.rint(seen * full_scale / electrons) + black
    return np.clip(stored, 0, full_scale + black).astype(np.uint16)


def falloff(width, height, stops=1.0):
    """Even light that falls off by `stops` to the corners."""
    y, x = np.mgrid[:height, :width]
    h = np.hypot(x - (width - 1) / 2, y - (height - 1) / 2) / (np.hypot(width, height) / 2)
    return 0.75 * 2.0 ** (-stops * h**2)


def drawn_target(width, height, columns=9, rows=7, stops=1.0):
    """White with a lattice of black right-angled triangles, every second one turned half round."""
    light = falloff(width, height, stops)
    pitch = max(width / columns, height / rows)
    for row in range(rows):
        for column in range(columns):
            node = np.array([(row + 0.5) * height / rows, (column + 0.5) * width / columns])
            turn = 1 if (row * 3 + column) % 2 else -1
            corners = node + turn * 0.28 * pitch * np.array([[-1, -1], [1, -0.9], [-0.9, 1]])
            light[polygon2mask((height, width), corners)] *= 0.05
    return light
