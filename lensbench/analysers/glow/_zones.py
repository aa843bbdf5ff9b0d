"""Edges' glow joined into zones."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import LEAST_AVERAGED
from lensbench.analysers.glow._excess import Excess
from lensbench.analysers.glow._means import mean_without_outliers
from lensbench.analysers.glow._width import glow_width
from lensbench.findings import NORMAL_95, Figure, ZoneGlow
from lensbench.frame import ZONES, zone_index

LEAST_EDGES = LEAST_AVERAGED
"""Zones with fewer edges have no glow: their tails are for means."""

LEAST_EDGES_FOR_WIDTH = 6
"""Zones with fewer have no width (our own choice)."""


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
    mean = mean_without_outliers(excess.share[edges], excess.sigma[edges])
    used, weight = excess.take(edges[mean.used]), mean.weight
    diffraction, off, less, more = (
        float(weight @ part[:, 0])
        for part in (used.diffraction, used.diffraction_off, used.diffraction_less, used.diffraction_more)
    )
    own = math.hypot(NORMAL_95 * math.hypot(mean.sigma, weight @ used.model_sigma), off)
    # Lenses of one kind are all at one end of what diffraction may be: that is no scatter to be drawn together.
    below, above = own + more, own + less
    width = None
    if mean.value > below and len(weight) >= LEAST_EDGES_FOR_WIDTH:
        width = glow_width(used, weight)
    return ZoneGlow(
        zone=zone,
        channel=channel,
        glow_percent=_not_negative(mean.value, below, above),
        diffraction_percent=Figure(
            100 * diffraction, 100 * (diffraction - less - off), 100 * (diffraction + more + off), "%"
        ),
        from_px=float(np.median(used.from_px)),
        width_px=width,
        width_um=width.scaled(pixel_pitch_um, "µm") if width and pixel_pitch_um else None,
        edges=len(weight),
    )


def _not_negative(share: float, below: float, above: float) -> Figure:
    """A share of light in percent with its interval; it can't be less than none."""
    share = max(share, 0.0)
    return Figure(100 * share, 100 * max(share - below, 0.0), 100 * (share + above), "%")
