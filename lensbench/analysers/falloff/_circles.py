"""The light along circles in the frame: its mean, its interval, and how abruptly it changes with the radius."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.flat_light import MAP_STOPS, LightMap
from lensbench.findings import NORMAL_95
from lensbench.frame import centre_of, half_diagonal

ANGLES = np.linspace(0, 2 * np.pi, 240, endpoint=False)
"""Directions in which circles are sampled."""


def stops_on_circle(light: LightMap, centre: tuple[float, float], radius: float) -> NDArray[np.float64]:
    """Stops along the part of a circle that lies in the frame; NaN where samples are clipped."""
    width, height = light.size
    corner = np.arctan2(height, width)
    # The frame's four corners are the only positions with h = 1.
    angles = np.concatenate([ANGLES, [corner, np.pi - corner, np.pi + corner, -corner]])
    x, y = centre[0] + radius * np.cos(angles), centre[1] + radius * np.sin(angles)
    inside = (np.abs(x - (width - 1) / 2) <= width / 2 + 1e-6) & (
        np.abs(y - (height - 1) / 2) <= height / 2 + 1e-6
    )
    return light.at(x[inside], y[inside])


def mean_light_stops(stops: NDArray) -> float:
    """Stops of the mean light over positions."""
    return -float(np.log2(np.mean(2.0**-stops)))


def interval_of_mean(light: LightMap, arc: float) -> float:
    """Half of the 95 % interval of a mean over an arc, by noise and by the map's error.

    Parameters
    ----------
    light : LightMap
    arc : float
        Length of the arc over that of a circle with h = 1.
    """
    blocks = max(2 * np.pi * arc * half_diagonal(light.size) / np.diff(light.x[:2]).item(), 1.0)
    return float(np.hypot(NORMAL_95 * light.spread / np.sqrt(blocks), MAP_STOPS))


def change_within_block(light: LightMap, h: float) -> float:
    """Change of the mean light over a block's width, in stops, at the edge of the image circle.

    0 where the frame has no such edge, infinite where the change is not known.
    """
    if not light.rough.any():
        return 0.0
    half, reach = half_diagonal(light.size), np.diff(light.x[:2]).item() / 2
    ends = max(h * half - reach, 0.0), min(h * half + reach, half)
    on_circles = (stops_on_circle(light, centre_of(light.size), radius) for radius in ends)
    inner, outer = (stops[np.isfinite(stops)] for stops in on_circles)
    return abs(mean_light_stops(outer) - mean_light_stops(inner)) if len(inner) and len(outer) else np.inf
