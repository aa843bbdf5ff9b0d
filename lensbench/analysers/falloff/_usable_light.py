"""Usable light: how far from its centre the light has fallen by one, two and three stops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff._circles import ANGLES, interval_of_mean, mean_light_stops, stops_on_circle
from lensbench.analysers.flat_light import LightMap
from lensbench.findings import Figure, UsableLight
from lensbench.frame import half_diagonal

USABLE_STOPS = (1.0, 2.0, 3.0)
"""How many stops darker the light may be, for three ideas of what is usable."""

BLOCK_SHARE = 0.05
"""Share of a block within which a radius is known at best (chosen by experience)."""

LEAST_ARC = 0.03
"""Share of a circle that must lie in the frame for the light along it to be measured (chosen by experience)."""

RADII = 160
"""Circles on which the light is sampled."""


def usable_light(light: LightMap, centre: tuple[float, float], pixel_pitch_um: float | None) -> list[UsableLight]:
    """Find the radii at which the mean light in all directions has fallen by each number of stops.

    Parameters
    ----------
    light : LightMap
    centre : (float, float)
        Of the light, in pixels.
    pixel_pitch_um : float or None
        For figures in millimetres.

    Returns
    -------
    list of UsableLight
        One for each of `USABLE_STOPS`.
    """
    radii = np.linspace(0, 1.5 * half_diagonal(light.size), RADII)
    known, mean = [], []
    for radius in radii:
        stops = stops_on_circle(light, centre, radius)
        if len(stops) < LEAST_ARC * len(ANGLES):
            break
        known.append(radius)
        mean.append(mean_light_stops(stops[np.isfinite(stops)]) if np.isfinite(stops).any() else np.nan)
    return [_usable(light, np.array(known), np.array(mean), stops, pixel_pitch_um) for stops in USABLE_STOPS]


def _usable(
    light: LightMap, radii: NDArray, mean: NDArray, stops: float, pixel_pitch_um: float | None
) -> UsableLight:
    beyond = np.flatnonzero(mean >= stops)
    if not len(beyond) or beyond[0] == 0:
        return UsableLight(stops, None, None)
    after = beyond[0]
    radius, slope = _crossing(radii[after - 1 : after + 1], mean[after - 1 : after + 1], stops)
    # At the edge of the image circle the radius is known to a part of a block.
    block = BLOCK_SHARE * float(np.diff(light.x[:2]).item())
    half = np.hypot(interval_of_mean(light, radius / half_diagonal(light.size)) / slope, block)
    figure = Figure.of(radius, half, "px")
    return UsableLight(stops, figure, figure.scaled(pixel_pitch_um / 1000, "mm") if pixel_pitch_um else None)


def _crossing(radii: NDArray, mean: NDArray, stops: float) -> tuple[float, float]:
    """The radius at which a straight line between two reaches some stops, and its slope in stops a pixel."""
    slope = float(np.diff(mean).item() / np.diff(radii).item())
    return float(radii[0] + (stops - mean[0]) / slope), slope
