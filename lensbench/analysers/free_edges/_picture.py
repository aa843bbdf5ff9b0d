"""A smaller picture of a shot, with the brightest and the darkest around each of its blocks."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, maximum_filter, minimum_filter

from lensbench.noise import Noise, estimate_noise
from lensbench.reduction import reduce_reference, reduction_block
from lensbench.shot import Shot
from lensbench.uniform_blocks import read_uniform_blocks

AROUND_PX = 32
"""How far to each side an edge's bright and dark are looked for: the widest blur fits in."""

LEAST_NOISE = 1e-3
"""Noise of a sample, in shares of full scale, assumed at least: drawings and 8-bit files have none."""


class Picture(NamedTuple):
    """A smaller picture in shares of full scale, with the darkest and the brightest around each block.

    `noise` gives the standard deviation of a block with so much light.
    """

    light: NDArray[np.float32]
    dark: NDArray[np.float32]
    bright: NDArray[np.float32]
    noise: Callable[[NDArray | float], NDArray]
    block: int
    offset: NDArray[np.float64]

    def at(self, places: NDArray) -> NDArray[np.float64]:
        """The light at places (x, y) in blocks, straight between them."""
        x, y = np.moveaxis(places, -1, 0)
        return map_coordinates(self.light, (y, x), np.float64, order=1, mode="nearest")


def smaller_picture(shot: Shot) -> Picture:
    """The picture of the shot's reference channel."""
    block = reduction_block(shot)
    light, offset = reduce_reference(shot, block)
    full = shot.full_scale(shot.reference)
    light = light / np.float32(full)
    around = 2 * round(AROUND_PX / block) + 1
    noise = estimate_noise(read_uniform_blocks(shot)) or Noise(0.0, 0.0, 0.0)
    samples = (
        block**2 if shot.pattern is None else np.isin(shot.pattern, shot.indices(shot.reference)).mean() * block**2
    )
    return Picture(
        light,
        minimum_filter(light, around),
        maximum_filter(light, around),
        lambda light: np.maximum(noise.sigma(light * full) / full, LEAST_NOISE) / np.sqrt(samples),
        block,
        offset,
    )
