"""A setting's sharpness by zone, as all verdicts take it."""

from __future__ import annotations

from lensbench.figure import Figure
from lensbench.findings import Setting
from lensbench.shot import reference_channel


def mtf50_by_zone(setting: Setting) -> dict[str, Figure]:
    """MTF50, mean of directions, by zone: in lp/mm where the pixels' size is known."""
    zones = setting.sharpness.zones if setting.sharpness else []
    shown = reference_channel([zone.channel for zone in zones])
    return {
        zone.zone: zone.mtf50_lp_mm or zone.mtf50
        for zone in zones
        if zone.direction == "mean" and zone.channel == shown
    }
