"""Edges' glow joined into zones, and how far from the edge half of it lies."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.glow._excess import Excess
from lensbench.findings import NORMAL_95, Figure, ZoneGlow
from lensbench.frame import ZONES, zone_index
from lensbench.robust import robust_sigma

LEAST_EDGES = 3
"""Zones with fewer edges have no glow (our own choice)."""

LEAST_EDGES_FOR_WIDTH = 6
"""Zones with fewer have no width (our own choice)."""

OUTLIER = 5.0
"""Edges whose glow deviates from the zone's median by more standard deviations are left out: a hair or a crease
beside them (common practice)."""

MODEL_SIGMA = 0.0008
"""Share of the light, as a standard deviation, by which a fitted profile's tails are off besides noise, alike at
all edges of one lens (`tests.bench.glow_share`)."""

WIDTH_SIGMA = 0.015
"""The same of the width, as a share of it (`tests.bench.glow_share`)."""

WIDTH_BY_SHARE = 0.5
"""By how much of itself a width changes where the glow changes by as much as itself (`tests.bench.glow_share`)."""


class _Mean(NamedTuple):
    """A mean over edges and half of its 95 % interval, as shares of the light, and which edges are in it."""

    value: float
    half_width: float
    used: NDArray[np.bool_]
    weight: NDArray[np.float64]


def zone_glows(
    excess: Excess, channel: str, size: tuple[int, int], pixel_pitch_um: float | None
) -> list[ZoneGlow]:
    """Glow of the whole frame and of each zone that shows enough edges.

    Parameters
    ----------
    excess : Excess
        The channel's edges.
    channel : str
        Its name.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float or None
        For widths in micrometres.
    """
    index = zone_index(excess.x, excess.y, size)
    parts = [("frame", np.ones(len(index), bool)), *((zone, index == k) for k, zone in enumerate(ZONES))]
    return [
        _zone(excess, zone, np.flatnonzero(inside), channel, pixel_pitch_um)
        for zone, inside in parts
        if inside.sum() >= LEAST_EDGES
    ]


def _zone(excess: Excess, zone: str, edges: NDArray, channel: str, pixel_pitch_um: float | None) -> ZoneGlow:
    mean = _mean(excess.share[edges], excess.sigma[edges])
    used, weight = edges[mean.used], mean.weight
    diffraction, less, more = (
        float(weight @ part[used])
        for part in (excess.diffraction, excess.diffraction_less, excess.diffraction_more)
    )
    own = math.hypot(mean.half_width, NORMAL_95 * MODEL_SIGMA)
    below, above = math.hypot(own, more), math.hypot(own, less)
    width = None
    if mean.value > below and len(used) >= LEAST_EDGES_FOR_WIDTH:
        width = _width(excess.distance_px, excess.farther[used], weight, below / mean.value)
    return ZoneGlow(
        zone=zone,
        channel=channel,
        glow_percent=_not_negative(mean.value, below, above),
        diffraction_percent=Figure(100 * diffraction, 100 * (diffraction - less), 100 * (diffraction + more), "%"),
        from_px=float(np.median(excess.from_px[used])),
        width_px=width,
        width_um=width.scaled(pixel_pitch_um, "µm") if width and pixel_pitch_um else None,
        edges=len(used),
    )


def _not_negative(share: float, below: float, above: float) -> Figure:
    """A share of light in percent with its interval; it can't be less than none."""
    share = max(share, 0.0)
    return Figure(100 * share, 100 * max(share - below, 0.0), 100 * (share + above), "%")


def _mean(share: NDArray, sigma: NDArray) -> _Mean:
    """The weighted mean of edges without outliers; its noise is that of the edges or as they scatter."""
    middle = float(np.median(share))
    scatter = max(robust_sigma(share), float(np.median(sigma)))
    used = np.abs(share - middle) <= OUTLIER * np.maximum(scatter, sigma)
    share, sigma = share[used], sigma[used]
    weight = 1 / (sigma**2 + float(np.median(sigma)) ** 2 + 1e-12)
    weight = weight / weight.sum()
    value = float(weight @ share)
    by_noise = float(np.sqrt(weight**2 @ sigma**2))
    by_scatter = float(np.sqrt(weight**2 @ (share - value) ** 2 * len(share) / max(len(share) - 1, 1)))
    return _Mean(value, NORMAL_95 * max(by_noise, by_scatter), used, weight)


def _width(distance: NDArray, farther: NDArray, weight: NDArray, uncertainty: float) -> Figure | None:
    """Distance from the edge within which half of the glow lies; None where the tails don't tell.

    Parameters
    ----------
    distance : ndarray, shape (m,)
        Rising distances in pixels.
    farther : ndarray, shape (n, m)
        Each edge's glow from there to the reach.
    weight : ndarray, shape (n,)
        How much each edge counts; 1 in all.
    uncertainty : float
        How far the glow's interval reaches down, over the glow.
    """
    value = _median_distance(distance, weight @ farther)
    without = [
        _median_distance(distance, np.delete(weight, k) @ np.delete(farther, k, axis=0) / (1 - weight[k]))
        for k in range(len(weight))
    ]
    jackknife = np.array([one for one in without if one is not None])
    if value is None or len(jackknife) < len(without):
        return None
    spread = np.sqrt((len(jackknife) - 1) * np.mean((jackknife - jackknife.mean()) ** 2))
    half = float(np.hypot(NORMAL_95 * np.hypot(spread, WIDTH_SIGMA * value), WIDTH_BY_SHARE * uncertainty * value))
    return Figure(value, max(value - half, float(distance[0])), value + half, "px")


def _median_distance(distance: NDArray, farther: NDArray) -> float | None:
    """Where a falling share of the light has fallen to half of what it begins with."""
    below = farther <= farther[0] / 2
    if farther[0] <= 0 or not below.any():
        return None
    k = int(np.argmax(below))
    step = (farther[k - 1] - farther[0] / 2) / max(farther[k - 1] - farther[k], 1e-12)
    return float(distance[k - 1] * (distance[k] / distance[k - 1]) ** step)
