"""Glow: light that a lens throws far from an edge, around a sharp core."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.tables import Tabular


class ZoneGlow(Tabular, msgspec.Struct, frozen=True):
    """A zone's glow in one colour; `zone` is ``frame`` for the mean over all zones.

    `glow_percent` is the share of an edge's light that lands farther than `from_px` from it (three times its
    25-75 % distance) and within the reach, on both sides together, less `diffraction_percent`, which diffraction
    alone puts there. Half of it lies within `width_px` of the edge; None where there is too little of it to tell.
    """

    zone: str
    channel: str
    glow_percent: Figure
    diffraction_percent: Figure
    from_px: float
    width_px: Figure | None
    width_um: Figure | None
    edges: int


class Glow(Tabular, msgspec.Struct, frozen=True):
    """Glow of one setting.

    `reach_px` is how far from the edges light is counted; what goes farther is veiling glare. `diffraction_from`
    is ``f-number``, or ``not known``: any aperture may then have been used, and the intervals allow for all.
    """

    reach_px: float
    reach_um: float | None
    diffraction_from: str
    zones: list[ZoneGlow] = []
    notes: list[str] = []
