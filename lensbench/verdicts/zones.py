"""A setting's sharpness by zone and its glow, as all verdicts take them."""

from __future__ import annotations

from lensbench.figure import Figure
from lensbench.findings import Glow, Setting, ZoneGlow
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


def whole_frame(glow: Glow) -> ZoneGlow | None:
    """The whole frame's glow in the colour that speaks for sharpness."""
    frames = [zone for zone in glow.zones if zone.zone == "frame"]
    channel = reference_channel([zone.channel for zone in frames]) if frames else None
    return next((zone for zone in frames if zone.channel == channel), None)
