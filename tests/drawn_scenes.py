"""Everyday scenes with straight borders that are no clean edges: lines, coloured patches, double steps, textures.

A scene is a profile of light by colour across a border that runs some degrees off the columns, through a Gaussian
blur in closed form; textures are noise that hangs together. Nothing here is shared with the code under test.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from lensbench.shot import Shot
from tests.known_edges import BAYER

NAMES = ("red", "green", "blue")


def bordered(steps, blur=1.2, degrees=6.0, size=(480, 400), texture=0.0, seed=0) -> Shot:
    """A shot whose light changes across one border.

    Parameters
    ----------
    steps : dict of str to list of (float, float)
        For each colour the distances (pixels, towards bright) at which its light changes, and by how much,
        from 0.04 of full scale far on the dark side on.
    texture : float
        Standard deviation of the surface's own pattern, as a share of its light, some 4 px coarse.
    """
    rng = np.random.default_rng(seed)
    width, height = size
    y, x = np.mgrid[:height, :width].astype(float)
    turn = np.radians(degrees)
    u = (x - width / 2) * np.cos(turn) + (y - height / 2) * np.sin(turn)
    index = np.tile(BAYER, (height // 2 + 1, width // 2 + 1))[:height, :width]
    light = np.empty((height, width))
    for k, name in enumerate(NAMES):
        level = 0.04 + sum(gain * ndtr((u - at) / blur) for at, gain in steps[name])
        light[index == k] = level[index == k]
    if texture:
        pattern = gaussian_filter(rng.standard_normal(light.shape), 4)
        light *= 1 + texture * pattern / pattern.std()
    light += 0.003 * np.sqrt(np.maximum(light, 0.02)) * rng.standard_normal(light.shape)
    samples = np.clip(500 + 12000 * light, 0, 12500).astype(np.float32)
    return Shot("scene", samples, BAYER, NAMES, np.full(3, 500.0), 12500.0, np.ones(3))


def alike(*steps):
    """The same steps in every colour."""
    return {name: list(steps) for name in NAMES}
