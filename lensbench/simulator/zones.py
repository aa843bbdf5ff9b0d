"""Truth by zone, as a report states it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from lensbench.frame import ZONES, zone_index
from lensbench.simulator.flat_shot import FlatTruth
from lensbench.simulator.target_shot import TargetTruth

FINE = (960, 640)
"""Cells across and down over which a zone's area is summed: its border crosses few enough of them."""


def zone_means(values: NDArray, x: NDArray, y: NDArray, size: tuple[int, int]) -> dict[str, float]:
    """The mean of values at places over each zone that holds any."""
    zone = zone_index(x, y, size)
    inside = {name: zone == k for k, name in enumerate(ZONES)}
    return {name: float(values[here].mean()) for name, here in inside.items() if here.any()}


def mtf50_by_zone(truth: TargetTruth, channel: str, direction: str) -> dict[str, float]:
    """MTF50 of ``sagittal`` or ``tangential`` edges, a mean over the tiles in the frame."""
    edges = truth.edges
    values = edges.sagittal_mtf50[channel] if direction == "sagittal" else edges.tangential_mtf50[channel]
    return zone_means(values, *edges.place_px.T, truth.size)


def lateral_by_zone(truth: TargetTruth, channel: str) -> dict[str, tuple[float, float]]:
    """Lateral colour outward and around, a mean over the tiles in the frame."""
    radial, around = truth.radial_around_px(channel).T
    outward, anticlockwise = (zone_means(v, *truth.edges.place_px.T, truth.size) for v in (radial, around))
    return {name: (outward[name], anticlockwise[name]) for name in outward}


def falloff_by_zone(truth: FlatTruth, channel: str, size: tuple[int, int]) -> dict[str, float]:
    """Falloff in stops, by the mean light over each zone's area."""
    x, y = ((np.arange(count) + 0.5) * length / count - 0.5 for count, length in zip(FINE, size, strict=True))
    stops = RectBivariateSpline(truth.y, truth.x, truth.stops[channel])(y, x)
    light = zone_means(2.0 ** -stops.ravel(), *(grid.ravel() for grid in np.meshgrid(x, y)), size)
    return {zone: -float(np.log2(mean)) for zone, mean in light.items()}
