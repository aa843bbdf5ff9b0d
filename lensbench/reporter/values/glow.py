"""Glow as it is shown: which colour speaks for it, and how it goes with the aperture."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import Glow, Report, Setting, ZoneGlow
from lensbench.verdicts.zones import whole_frame


def glows_of(report: Report) -> Iterator[tuple[Setting, Glow]]:
    """The settings whose glow was measured, with it."""
    for setting in report.settings:
        if setting.glow and setting.glow.zones:
            yield setting, setting.glow


def worst_zone(glow: Glow) -> ZoneGlow | None:
    """The zone with the most glow in that colour, by what is sure of it."""
    frame = whole_frame(glow)
    zones = [zone for zone in glow.zones if frame and zone.channel == frame.channel and zone.zone != "frame"]
    return max(zones, key=lambda zone: zone.glow_percent.low, default=None)
