"""What drawings show, in a few words each: the captions of maps and panels."""

from __future__ import annotations

from lensbench.findings import Figure, Report, Setting
from lensbench.formatting import brief
from lensbench.reporter.values.dirt import marks_of
from lensbench.reporter.values.light import black_corners, together
from lensbench.reporter.values.sharpness import sharpness_unit
from lensbench.reporter.values.zones import CORNERS
from lensbench.verdicts.dirt import lies_on
from lensbench.verdicts.zones import known_zones

NO_TARGET = "no target shot at this setting could be measured"
NO_FLAT = "no flat at this setting could be measured"


def sharpness_in_short(report: Report, setting: Setting) -> str:
    """Such as ``centre 39, corners 26–30 lp/mm``."""
    unit = sharpness_unit(report)
    figures = {zone: one.figures[0] for zone, one in known_zones([setting]).items()}
    if not figures:
        return NO_TARGET
    parts = [f"centre {brief(figures['centre'])}"] if "centre" in figures else []
    corners = [figures[zone] for zone in CORNERS if zone in figures]
    if corners:
        parts.append(f"corners {span(corners)}")
    return (
        f"{', '.join(parts)} {unit}" if parts else f"neither centre nor corners measured, see the zones ({unit})"
    )


def span(figures: list[Figure]) -> str:
    """The range of several figures, or the one number where they read alike."""
    low, high = min(figures, key=lambda f: f.value), max(figures, key=lambda f: f.value)
    return brief(low) if brief(low) == brief(high) else f"{brief(low)}–{brief(high)}"


def falloff_in_short(setting: Setting) -> str:
    """Such as ``corners 1.6 stops down``."""
    stops = _corner_stops(setting)
    return f"corners {stops} stops down{together(setting.falloff)}" if stops else _without_stops(setting)


def _corner_stops(setting: Setting) -> str:
    """The range of the corners' falloff; empty where one is black or none is known."""
    zones = {zone.zone: zone.stops for zone in setting.falloff.zones} if setting.falloff else {}
    corners = [zones[zone] for zone in CORNERS if zone in zones]
    return span(corners) if corners and not black_corners(setting) else ""


def _without_stops(setting: Setting) -> str:
    return "black corners" if black_corners(setting) else NO_FLAT


def light_in_few_words(setting: Setting) -> str:
    """Falloff and marks where there is room for some 38 letters."""
    if setting.falloff is None and setting.dust is None:
        return NO_FLAT
    stops = _corner_stops(setting)
    what = "lens + light" if together(setting.falloff) else "corners"
    return f"{f'{what} {stops} stops' if stops else _without_stops(setting)}; {marks_in_short(setting)}"


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


def profile_in_short(setting: Setting) -> str:
    """What the drawing of falloff by distance shows."""
    return "falloff from the middle to the corners, all around and from the lightest to the darkest side"


def glare_in_short(setting: Setting) -> str:
    """What the drawing of light in the dark tiles shows."""
    if setting.glare and setting.glare.ink_percent is not None:
        return "glare by zone, percent of the white around"
    return "light in the dark tiles, the ink's included, percent of the white around"


def marks_on_face_in_short(setting: Setting, face: str) -> str:
    """How many marks lie on one face, and how many may."""
    known = [lies_on(face, mark) for mark in marks_of(setting)]
    sure, may = known.count(True), known.count(None)
    parts = ([f"{sure} mark{'s' * (sure > 1)}"] if sure else []) + ([f"{may} perhaps"] if may else [])
    return ", ".join(parts) or "none"


def about_the_shots(report: Report) -> str:
    """Camera, magnification and date in one line."""
    width, height = report.camera.size_px
    parts = [f"{width} × {height} px"]
    if report.camera.sensor_mm:
        parts.append("{:g} × {:g} mm".format(*report.camera.sensor_mm))
    magnification = report.geometry.magnification if report.geometry else None
    if magnification:
        parts.append(f"{brief(magnification, 3)} × life size")
    if report.build.date:
        parts.append(report.build.date)
    return "  ·  ".join(parts)
