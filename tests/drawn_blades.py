"""Blades before a light in closed form: dark rectangles through a Gaussian blur, a product along both sides.

Nothing here is shared with the code under test. Samples are taken at points, so MTF50 is √(ln 2 / 2) / (π s).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from lensbench.shot import Shot
from tests.known_edges import BAYER, MONO

FULL = 12000.0
BLACK = 500.0


@dataclass(frozen=True)
class Blade:
    """A dark rectangle; its long side runs at an angle, anticlockwise as seen from x right."""

    middle: tuple[float, float]
    angle_deg: float
    size: tuple[float, float]

    def cover(self, x, y, blur):
        """How much of the light it takes at places, 0 to 1."""
        turn = np.radians(self.angle_deg)
        dx, dy = x - self.middle[0], y - self.middle[1]
        along, across = dx * np.cos(turn) - dy * np.sin(turn), dx * np.sin(turn) + dy * np.cos(turn)
        parts = [
            ndtr((place + side / 2) / blur) - ndtr((place - side / 2) / blur)
            for place, side in zip((along, across), self.size, strict=True)
        ]
        return parts[0] * parts[1]


def mtf50_of(blur: float) -> float:
    """MTF50 of a Gaussian blur in cycles a pixel (handbook formula)."""
    return float(np.sqrt(np.log(2) / 2) / (np.pi * blur))


def blades_shot(blades, size, blur=1.2, white=0.75, noise=0.003, colour=True, shift=None, seed=0) -> Shot:
    """A shot of blades; `shift` moves each colour's picture by so many pixels (x, y), by name."""
    width, height = size
    y, x = np.mgrid[0:height, 0:width].astype(float)
    names = ("red", "green", "blue") if colour else ("grey",)
    pattern = BAYER if colour else MONO
    index = np.tile(pattern, (height // len(pattern) + 1, width // len(pattern[0]) + 1))[:height, :width]
    light = np.empty((height, width))
    for number, name in enumerate(names):
        mine = index == number
        dx, dy = (shift or {}).get(name, (0.0, 0.0))
        cover = sum(blade.cover(x[mine] - dx, y[mine] - dy, blur) for blade in blades)
        light[mine] = white * (1 - 0.97 * np.clip(cover, 0, 1))
    light += noise * np.sqrt(np.maximum(light, 0.02)) * np.random.default_rng(seed).standard_normal(light.shape)
    samples = np.clip(BLACK + FULL * light, 0, BLACK + FULL).astype(np.float32)
    n = len(names)
    return Shot("blades", samples, pattern, names, np.full(n, BLACK), BLACK + FULL, np.ones(n))
