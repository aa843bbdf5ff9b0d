"""The true falloff by zone, as a report states it."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import RectBivariateSpline

from lensbench.frame import ZONES, zone_index
from lensbench.simulator.flat_shot import FlatTruth

FINE = (960, 640)
"""Cells across and down over which a zone's area is summed: its border crosses few enough of them."""


def falloff_by_zone(truth: FlatTruth, channel: str, size: tuple[int, int]) -> dict[str, float]:
    """Falloff in stops, by the mean light over each zone's area."""
    x, y = ((np.arange(count) + 0.5) * length / count - 0.5 for count, length in zip(FINE, size, strict=True))
    stops = RectBivariateSpline(truth.y, truth.x, truth.stops[channel])(y, x)
    zone = zone_index(*np.meshgrid(x, y), size)
    return {name: -float(np.log2(np.mean(2.0 ** -stops[zone == k]))) for k, name in enumerate(ZONES)}
