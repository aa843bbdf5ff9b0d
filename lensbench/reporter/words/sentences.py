"""What a setting's figures say, in short plain sentences: the captions of maps and the page's first lines."""

from __future__ import annotations

from lensbench import frame
from lensbench.findings import Figure, Report, Setting
from lensbench.formatting import bare, brief
from lensbench.reporter.plots.sharpness import sharpness_unit, zone_figures

NO_TARGET = "no target shot at this setting could be measured"
NO_FLAT = "no flat at this setting could be measured"

CORNERS = tuple(zone for zone in frame.ZONES if zone.startswith("corner"))


def in_the(zone: str) -> str:
    """A zone in a sentence: ``the centre``, ``the top left corner``, ``the outer zone at the top left``."""
    ring, _, quarter = zone.partition(" ")
    place = quarter.replace("-", " ")
    if ring == "centre":
        return "the centre"
    return f"the {place} corner" if ring == "corner" else f"the {ring} zone at the {place}"


def corner_name(zone: str) -> str:
    """Which corner a corner zone is: ``top left``."""
    return zone.removeprefix("corner ").replace("-", " ")


def sharpness_in_short(report: Report, setting: Setting) -> str:
    """Such as ``centre 39, corners 26–30 lp/mm``."""
    unit = sharpness_unit(report)
    figures = zone_figures(setting, unit)
    if not figures:
        return NO_TARGET
    parts = []
    if ("centre", "mean") in figures:
        parts.append(f"centre {brief(figures['centre', 'mean'])}")
    corners = [figures[zone, "mean"] for zone in CORNERS if (zone, "mean") in figures]
    if corners:
        parts.append(f"corners {span(corners)}")
    return f"{', '.join(parts) or 'see the zones'} {unit}"


def span(figures: list[Figure]) -> str:
    """The range of several figures, or the one number where they read alike."""
    low, high = min(figures, key=lambda f: f.value), max(figures, key=lambda f: f.value)
    return brief(low) if brief(low) == brief(high) else f"{brief(low)}–{brief(high)}"


def black_corners(setting: Setting) -> list[str]:
    """The corners that are too dark for a figure where light does not cover the frame: ``top left`` and so on."""
    if setting.falloff is None or setting.falloff.covers_frame:
        return []
    told = {zone.zone for zone in setting.falloff.zones}
    return [corner_name(zone) for zone in CORNERS if zone not in told]


def falloff_in_short(setting: Setting) -> str:
    """Such as ``corners 1.6 stops down``."""
    if black_corners(setting):
        return "black corners"
    zones = {zone.zone: zone.stops for zone in setting.falloff.zones} if setting.falloff else {}
    corners = [zones[zone] for zone in CORNERS if zone in zones]
    if not corners:
        return NO_FLAT
    return f"corners {span(corners)} stops down"


def marks_in_short(setting: Setting) -> str:
    """``clean``, or how many marks."""
    if setting.dust is None:
        return NO_FLAT
    count = len(setting.dust.marks)
    return "clean" if count == 0 else f"{count} mark{'s' if count > 1 else ''}"


def light_in_short(setting: Setting) -> str:
    """Falloff and marks in one line."""
    if setting.falloff is None and setting.dust is None:
        return NO_FLAT
    return f"{falloff_in_short(setting)}; {marks_in_short(setting)}"


def about_the_shots(report: Report) -> str:
    """Camera, magnification and date in one line."""
    width, height = report.camera.size_px
    parts = [f"{width} × {height} px"]
    if report.camera.sensor_mm:
        parts.append("{:g} × {:g} mm".format(*report.camera.sensor_mm))
    magnification = report.geometry.magnification if report.geometry else None
    if magnification:
        parts.append(f"{bare(magnification)} × life size")
    if report.build.date:
        parts.append(report.build.date)
    return "  ·  ".join(parts)
