"""A setting's sharpness by zone and its glow, as all verdicts take them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lensbench import frame
from lensbench.figure import Figure
from lensbench.findings import DIRECTIONS, MEAN, Glow, Setting, ZoneGlow
from lensbench.shot import reference_channel


def mtf50_by_zone(setting: Setting) -> dict[str, Figure]:
    """MTF50, mean of directions, by zone: in lp/mm where the pixels' size is known."""
    return {zone: figure for (zone, direction), figure in _by_place(setting).items() if direction == MEAN}


class KnownZone(NamedTuple):
    """A zone's MTF50 at some settings: the mean of directions, or the only direction that all of them have."""

    direction: str
    figures: list[Figure]


def known_zones(settings: Sequence[Setting]) -> dict[str, KnownZone]:
    """What is known of each zone at all of some settings, so that a zone seen in one direction is not passed over.

    Parameters
    ----------
    settings : sequence of Setting
        At least one, such as all setups of an aperture.

    Returns
    -------
    dict of str to KnownZone
        Zones that one of the settings lacks are missing.
    """
    places = [_by_place(setting) for setting in settings]
    found = {}
    for zone in frame.ZONES:
        shared = [way for way in (MEAN, *DIRECTIONS) if all((zone, way) in place for place in places)]
        if shared:
            found[zone] = KnownZone(shared[0], [place[zone, shared[0]] for place in places])
    return found


def _by_place(setting: Setting) -> dict[tuple[str, str], Figure]:
    """MTF50 by zone and direction in the channel that speaks for sharpness."""
    zones = setting.sharpness.zones if setting.sharpness else []
    shown = reference_channel([zone.channel for zone in zones])
    return {(zone.zone, zone.direction): zone.mtf50_lp_mm or zone.mtf50 for zone in zones if zone.channel == shown}


def whole_frame(glow: Glow) -> ZoneGlow | None:
    """The whole frame's glow in the colour that speaks for sharpness."""
    frames = [zone for zone in glow.zones if zone.zone == "frame"]
    channel = reference_channel([zone.channel for zone in frames]) if frames else None
    return next((zone for zone in frames if zone.channel == channel), None)
