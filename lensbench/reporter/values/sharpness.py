"""Sharpness as it is shown: its unit, its channel, figures by zone, and where the common scale ends."""

from __future__ import annotations

from lensbench.findings import Figure, Report, Setting, ZoneLimits, ZoneSharpness
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.shot import reference_channel


def sharpness_unit(report: Report) -> str:
    """The unit that sharpness is shown in: lp/mm where the sensor's size is known, else cy/px."""
    return "lp/mm" if report.camera.pixel_pitch_um else "cy/px"


def per_cycle(report: Report) -> float:
    """One cycle a pixel in the unit that sharpness is shown in."""
    return 1000 / report.camera.pixel_pitch_um if report.camera.pixel_pitch_um else 1.0


def has_zones(setting: Setting) -> bool:
    """Whether any zone's sharpness was measured."""
    return bool(setting.sharpness and setting.sharpness.zones)


def shown_channel(setting: Setting) -> str:
    """The channel that sharpness is shown in: green where there is one."""
    names = [zone.channel for zone in setting.sharpness.zones] if setting.sharpness else []
    return reference_channel(names) or "green"


def channel_of_all(report: Report) -> str:
    """The channel that a whole report's sharpness is shown in."""
    return next((shown_channel(s) for s in report.settings if s.sharpness and s.sharpness.zones), "green")


def zone_figures(setting: Setting, unit: str, channel: str | None = None) -> dict[tuple[str, str], Figure]:
    """MTF50 by (zone, direction) in one channel, `shown_channel` unless given otherwise."""
    zones = setting.sharpness.zones if setting.sharpness else []
    channel = channel or shown_channel(setting)
    return {(z.zone, z.direction): _in_unit(z, unit) for z in zones if z.channel == channel}


def figures_of(setting: Setting, unit: str, direction: str, channel: str | None = None) -> dict[str, Figure]:
    """MTF50 by zone in one direction (``mean`` for that of both), in one channel as in `zone_figures`."""
    return {
        zone: figure for (zone, way), figure in zone_figures(setting, unit, channel).items() if way == direction
    }


def mean_rows(setting: Setting) -> list[ZoneSharpness]:
    """The zones' rows in the shown channel, mean of both directions."""
    channel = shown_channel(setting)
    zones = setting.sharpness.zones if setting.sharpness else []
    return [zone for zone in zones if zone.channel == channel and zone.direction == "mean"]


def mean_limits(setting: Setting) -> dict[str, ZoneLimits]:
    """The limits of each zone in the shown channel, mean of both directions."""
    channel = shown_channel(setting)
    zones = setting.limits.zones if setting.limits else []
    return {zone.zone: zone for zone in zones if zone.channel == channel and zone.direction == "mean"}


def channels_of(setting: Setting) -> list[str]:
    """The channels that sharpness was measured in, in the report's order."""
    return list(dict.fromkeys(zone.channel for zone in setting.sharpness.zones)) if setting.sharpness else []


def sharpness_ceiling(report: Report) -> float:
    """Where the report's scale of sharpness ends: a round number at or above its best figure."""
    unit = sharpness_unit(report)
    values = [f.value for setting in report.settings for f in zone_figures(setting, unit).values()]
    return nice_ceiling(max(values)) if values and max(values) > 0 else 1.0


def _in_unit(zone: ZoneSharpness, unit: str) -> Figure:
    return zone.mtf50_lp_mm if unit == "lp/mm" and zone.mtf50_lp_mm else zone.mtf50
