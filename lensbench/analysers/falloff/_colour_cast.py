"""Colour cast: how much redder or bluer an even light is drawn away from the middle of the frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff._zones import zone_falloff
from lensbench.analysers.flat_light import FlatLight, LightMap, fit_light, read_finely, read_flats
from lensbench.errors import BenchError
from lensbench.findings import Figure, ZoneCast, ZoneFalloff
from lensbench.frame import ZONES
from lensbench.shot import Shot


@dataclass(frozen=True, eq=False)
class GreenLight:
    """What the flats show in green: each flat, the lens's map through them, and its zones."""

    flats: Sequence[FlatLight]
    light_map: LightMap
    zones: Sequence[ZoneFalloff]


def colour_cast(flats: Sequence[Shot], darks: Sequence[Shot], green: GreenLight) -> list[ZoneCast]:
    """Measure red and blue over green by zone, against the middle: the mean light of one over that of the other.

    Parameters
    ----------
    flats, darks : sequence of Shot
        As for the falloff.
    green : GreenLight

    Returns
    -------
    list of ZoneCast
        Empty for a camera without colours. The panel's own colour is assumed to be the same all over it.
    """
    casts = {colour: _cast(flats, darks, green, colour) for colour in ("red", "blue")}
    return [
        ZoneCast(zone, *(casts[colour].get(zone) for colour in ("red", "blue")))
        for zone in ZONES
        if any(zone in cast for cast in casts.values())
    ]


def _cast(flats: Sequence[Shot], darks: Sequence[Shot], green: GreenLight, colour: str) -> dict[str, Figure]:
    """One colour over green in percent, by zone; nothing where it can't be measured."""
    first = flats[0]
    if colour not in first.channels or first.reference != "green":
        return {}
    try:
        lights = read_flats(flats, colour, darks)
    except BenchError:
        return {}
    light = green.light_map
    stops = light.stops - light.curvature - _excess(green.flats, lights)
    fine = read_finely(flats, colour, darks) if light.rough.any() else None
    other = fit_light(light.size, light.x, light.y, stops, _both(green.flats, lights).sum(axis=0), light.rough)
    stops_of = {zone.zone: zone.stops for zone in green.zones}
    found = {}
    for zone in zone_falloff(other, fine):
        if zone.zone in stops_of:
            ratio = 2.0 ** (stops_of[zone.zone].value - zone.stops.value)
            half = np.log(2) * ratio * np.hypot(stops_of[zone.zone].half_width, zone.stops.half_width)
            found[zone.zone] = Figure.of(100 * (ratio - 1), 100 * half, "%")
    return found


def _both(greens: Sequence[FlatLight], others: Sequence[FlatLight]) -> NDArray[np.bool_]:
    """Which blocks can be measured in both colours, by flat."""
    return np.array([green.readable & other.readable for green, other in zip(greens, others, strict=True)])


def _excess(greens: Sequence[FlatLight], others: Sequence[FlatLight]) -> NDArray[np.float64]:
    """Stops by which another colour is brighter than green, a mean over the flats that can be measured."""
    excess = np.array([green.stops - other.stops for green, other in zip(greens, others, strict=True)])
    both = _both(greens, others)
    mean = np.where(both, excess, 0.0).sum(axis=0) / np.maximum(both.sum(axis=0), 1)
    return np.where(both.any(axis=0), mean, excess.mean(axis=0))
