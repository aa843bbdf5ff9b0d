"""Falloff by the distance from the frame's centre, beside that of the cos⁴ law."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.falloff._circles import (
    ANGLES,
    change_within_block,
    interval_of_mean,
    mean_light_stops,
    stops_on_circle,
)
from lensbench.analysers.flat_light import READABLE_STOPS, REFERENCE_H, LightMap
from lensbench.findings import FalloffStep, Figure
from lensbench.frame import centre_of, half_diagonal
from lensbench.optics import cos4_stops

STEPS_H = np.linspace(0, 1, 11)
"""Distances from the frame's centre at which the profile is given."""

LEAST_SEEN = 0.5
"""Share of a circle's part in the frame that must be measured for its mean to be given (chosen by experience)."""

MOST_CHANGE, CHANGE_SHARE = 0.5, 0.3
"""Stops by which the mean may change within a block's width at the edge of the image circle, and the part of that
change by which the mean may be wrong (found on drawn edges like those of `tests.bench.light --edges`)."""


def light_profile(light: LightMap, image_distance_px: Figure | None = None) -> list[FalloffStep]:
    """Falloff by the distance from the frame's centre: of the mean light around it.

    Distances where that is black, or changes much within a block at the edge of the image circle, are left out.

    Parameters
    ----------
    light : LightMap
    image_distance_px : Figure, optional
        From the exit pupil to the sensor, over the pupil ratio: it makes a field angle of a position. With it each
        step has the falloff of the cos⁴ law beside its own.

    Returns
    -------
    list of FalloffStep
    """
    found = []
    for h in STEPS_H:
        stops = stops_on_circle(light, centre_of(light.size), h * half_diagonal(light.size))
        seen = stops[np.isfinite(stops)]
        change = change_within_block(light, h)
        if len(seen) <= LEAST_SEEN * len(stops) or change > MOST_CHANGE:
            continue
        mean = mean_light_stops(seen)
        if mean < READABLE_STOPS:
            half = float(np.hypot(interval_of_mean(light, len(seen) / len(ANGLES) * h), CHANGE_SHARE * change))
            figure = Figure.of(mean, half, "stops")
            darkest = min(float(seen.max()), READABLE_STOPS)
            h = float(round(h, 3))
            cos4 = _cos4(h, image_distance_px, light.size) if image_distance_px else None
            found.append(FalloffStep(h, figure, darkest, float(seen.min()), cos4))
    return found


def _cos4(h: float, image_distance_px: Figure, size: tuple[int, int]) -> Figure:
    """Falloff of the cos⁴ law at a distance from the frame's centre, with the reference of all falloff."""

    def stops(distance: float) -> float:
        # The mean light within REFERENCE_H, the reference of all stops, is that at about 0.7 of it.
        radii = np.array([h, REFERENCE_H / np.sqrt(2)]) * half_diagonal(size)
        return float(np.subtract(*cos4_stops(np.degrees(np.arctan(radii / distance)))))

    low, value, high = (stops(d) for d in (image_distance_px.low, image_distance_px.value, image_distance_px.high))
    return Figure(value, min(low, high), max(low, high), "stops")
