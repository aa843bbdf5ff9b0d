"""Where colours land, in words: how far from green, how far from each other, and the seam that the eye sees."""

from __future__ import annotations

import math

from lensbench.findings import Figure, Fringing, Report, Setting, WorstFringing, ZoneFringing
from lensbench.formatting import brief, with_interval
from lensbench.reporter.words import sentences
from lensbench.reporter.words.sentences import in_the

_MOSTLY = 0.7
"""A colour lies outward or inward where that part is so much of its way, else to the side."""


def farthest_colour(setting: Setting) -> tuple[ZoneFringing, Figure] | None:
    """The zone and channel that lie farthest from green, and how far; None without any."""
    zones = setting.fringing.zones if setting.fringing else []
    if not zones:
        return None
    farthest = max(zones, key=lambda zone: math.hypot(zone.radial_px.value, zone.around_px.value))
    return farthest, distance(farthest)


def distance(zone: ZoneFringing) -> Figure:
    """How far a zone's colour lies from green, whichever way."""
    radial, around = zone.radial_px, zone.around_px
    size = math.hypot(radial.value, around.value)
    half = math.hypot(radial.value * radial.half_width, around.value * around.half_width) / size if size else 0.0
    return Figure.of(size, half, "px")


def way(zone: ZoneFringing) -> str:
    """Which way a zone's colour lies from green: ``outward``, ``inward`` or ``sideways``."""
    if abs(zone.radial_px.value) < _MOSTLY * distance(zone).value:
        return "sideways"
    return "outward" if zone.radial_px.value > 0 else "inward"


def fringing_in_short(setting: Setting) -> str:
    """Such as ``blue up to 2.6 px outward``."""
    farthest = farthest_colour(setting)
    if farthest is None:
        return sentences.NO_TARGET if not setting.sharpness else "not measured: it needs the target, in colour"
    zone, figure = farthest
    return f"{zone.channel} up to {brief(figure)} px {way(zone)}"


def fringing_in_words(report: Report) -> list[str]:
    """Each setting's worst corner as the eye sees it, and what could not be told."""
    said = []
    for setting in report.settings:
        if setting.fringing is not None:
            if setting.fringing.worst is not None:
                said.append(f"{setting.name}: {worst_corner(setting.fringing)}")
            said += setting.fringing.notes
    return said


def worst_corner(fringing: Fringing) -> str:
    """How the lengths in the worst corner hang together: each colour from green, the two apart, and the seam."""
    worst = fringing.worst
    lands = [
        f"{zone.channel} lands {brief(distance(zone), 3)} px {way(zone)} of green"
        for zone in fringing.zones
        if zone.zone == worst.zone and zone.channel in worst.colours
    ]
    apart = with_interval(worst.apart_px)
    if len(lands) > 1:
        puts = f", which puts the two {apart} apart: no colours lie farther apart in any corner."
    else:
        puts = f" ({apart}): no two colours lie farther apart in any corner."
    return f"in {in_the(worst.zone)} {' and '.join(lands)}{puts} {_seam(worst)}".strip()


def _seam(worst: WorstFringing) -> str:
    if worst.width_px is None:
        return ""
    width = with_interval(worst.width_px)
    if worst.width_um is not None:
        width += f" ({with_interval(worst.width_um)} on the sensor)"
    text = f"On an edge there the eye sees a coloured seam of {width}"
    if worst.width_px.value > worst.apart_px.value:
        return f"{text}: wider than that, since every colour's own blur draws it out."
    return f"{text}: narrower than that, since the seam counts only where the colours plainly differ."
