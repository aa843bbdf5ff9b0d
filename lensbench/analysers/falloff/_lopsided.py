"""What flats with the light in one position can't tell: whether what is lopsided is the lens's or the light's."""

from __future__ import annotations

from statistics import fmean

import numpy as np

from lensbench.analysers.flat_light import LightMap
from lensbench.findings import Figure, ZoneFalloff
from lensbench.frame import RINGS, centre_of, h_of

BEYOND, CURVED = 0.1, 0.02
"""Share of a ring's largest lopsided part by which the light's own may exceed what is seen, as the lens may lean
the other way; and share of the largest anywhere that may be alike on all sides, as a gradient of light is no
straight line in stops."""

STEPS, OF_SHADOWS = (61, 41), 4.0
"""Places across and down at which both sides are held against each other; and over how much of what they differ by
beside a gradient they may differ by all else but one: of a shadow a fitted gradient leaves a third or so (study:
`tests/bench/gauntlet`)."""


def with_lopsided(zones: list[ZoneFalloff], light: LightMap) -> list[ZoneFalloff]:
    """Zones whose intervals reach to what they would be if all that differs around the middle were the light's.

    Parameters
    ----------
    zones : list of ZoneFalloff
        Of flats of one position of the light, their intervals those of noise.
    light : LightMap
        What they are of.

    Returns
    -------
    list of ZoneFalloff
        A zone's lopsided part is by how much it is darker than the mean of its ring. Where a zone of a ring isn't
        known, that mean is of those that are. The mean itself may be off, where the light is uneven otherwise than
        by a gradient.
    """
    rings: dict[str, list[float]] = {}
    for zone in zones:
        rings.setdefault(_ring(zone), []).append(zone.stops.value)
    most = {name: max(abs(value - fmean(ring)) for value in ring) for name, ring in rings.items()}
    curved = CURVED * max(most.values(), default=0.0)
    uneven = _uneven_sides(light)
    widened = []
    for zone in zones:
        name = _ring(zone)
        more = abs(zone.stops.value - fmean(rings[name])) + BEYOND * most[name] + curved
        more += uneven[name]
        stops = Figure(zone.stops.value, zone.stops.low - more, zone.stops.high + more, zone.stops.unit)
        widened.append(ZoneFalloff(zone.zone, stops))
    return widened


def _ring(zone: ZoneFalloff) -> str:
    """The zones all around at one distance from the middle: ``centre``, ``inner``, ``outer`` or ``corner``."""
    return zone.zone.split()[0].split("-")[0]


def _uneven_sides(light: LightMap) -> dict[str, float]:
    """By how many stops the mean of each ring may be off, where the light is uneven by more than a gradient.

    A gradient leaves the mean of opposite places as it is. What lies on one side only, as a shadow or a cloud, is
    half in their difference and half in their mean, where it looks like falloff: so a ring's mean is off by about
    as much as its places differ from the mean of both.
    """
    x, y = (np.linspace(0, length - 1, steps) for length, steps in zip(light.size, STEPS, strict=True))
    seen = np.where(light.readable_on(x, y), light.on_grid(x, y), np.nan)
    odd = (seen - seen[::-1, ::-1]) / 2
    known = np.isfinite(odd)
    odd, middle = odd[known], centre_of(light.size)
    gradient = np.stack([a[known] for a in np.meshgrid(x - middle[0], y - middle[1])], axis=1)
    beside = float(np.mean(np.abs(odd - gradient @ np.linalg.lstsq(gradient, odd, rcond=None)[0])))
    ring = np.searchsorted(list(RINGS.values()), h_of(x[None, :], y[:, None], light.size), side="right")[known]
    mean = np.bincount(ring, np.abs(odd), len(RINGS)) / np.maximum(np.bincount(ring, minlength=len(RINGS)), 1)
    return dict(zip(RINGS, np.minimum(mean, OF_SHADOWS * beside).tolist(), strict=True))
