"""What flats with the light in one position can't tell: whether what is lopsided is the lens's or the light's."""

from __future__ import annotations

from statistics import fmean

from lensbench.findings import Figure, ZoneFalloff

BEYOND, CURVED = 0.1, 0.02
"""Share of a ring's largest lopsided part by which the light's own may exceed what is seen, as the lens may lean
the other way; and share of the largest anywhere that may be alike on all sides, as a gradient of light is no
straight line in stops."""


def with_lopsided(zones: list[ZoneFalloff]) -> list[ZoneFalloff]:
    """Zones whose intervals reach to what they would be if all that differs around the middle were the light's.

    Parameters
    ----------
    zones : list of ZoneFalloff
        Of flats of one position of the light, their intervals those of noise.

    Returns
    -------
    list of ZoneFalloff
        A zone's lopsided part is by how much it is darker than the mean of its ring. Where a zone of a ring isn't
        known, that mean is of those that are.
    """
    rings: dict[str, list[float]] = {}
    for zone in zones:
        rings.setdefault(_ring(zone), []).append(zone.stops.value)
    most = {name: max(abs(value - fmean(ring)) for value in ring) for name, ring in rings.items()}
    curved = CURVED * max(most.values(), default=0.0)
    widened = []
    for zone in zones:
        name = _ring(zone)
        more = abs(zone.stops.value - fmean(rings[name])) + BEYOND * most[name] + curved
        stops = Figure(zone.stops.value, zone.stops.low - more, zone.stops.high + more, zone.stops.unit)
        widened.append(ZoneFalloff(zone.zone, stops))
    return widened


def _ring(zone: ZoneFalloff) -> str:
    """The zones all around at one distance from the middle: ``centre``, ``inner``, ``outer`` or ``corner``."""
    return zone.zone.split()[0].split("-")[0]
