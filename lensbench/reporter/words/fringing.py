"""Where colours land, in words: how far from green, how far from each other, and the fringe that the eye sees."""

from __future__ import annotations

from lensbench.findings import Fringing, Report, Setting, WorstFringing
from lensbench.formatting import brief, with_interval
from lensbench.reporter.values.fringing import distance, farthest_colour, way
from lensbench.reporter.values.zones import in_the
from lensbench.reporter.words.captions import NO_TARGET


def fringing_in_short(setting: Setting) -> str:
    """Such as ``blue up to 2.6 px outward``."""
    farthest = farthest_colour(setting)
    if farthest is None:
        return "not measured: it needs the target, in colour" if setting.sharpness else NO_TARGET
    zone, figure = farthest
    return f"{zone.channel} up to {brief(figure)} px {way(zone)}"


def fringing_in_words(report: Report) -> list[str]:
    """Each setting's worst corner as the eye sees it, and what could not be told."""
    said = []
    for setting in report.settings:
        if setting.fringing is not None:
            if setting.fringing.worst is not None:
                said.append(f"{setting.name}: {worst_corner(setting.fringing, setting.fringing.worst)}")
            said += setting.fringing.notes
    return said


def worst_corner(fringing: Fringing, worst: WorstFringing) -> str:
    """The worst corner: how far each colour lies from green, the two from each other, and the fringe's width."""
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
    return f"in {in_the(worst.zone)} {' and '.join(lands)}{puts} {_fringe(worst)}".strip()


def _fringe(worst: WorstFringing) -> str:
    if worst.width_px is None:
        return ""
    width = with_interval(worst.width_px)
    if worst.width_um is not None:
        width += f" ({with_interval(worst.width_um)} on the sensor)"
    text = f"Edges there show a coloured fringe {width} wide"
    if worst.width_px.value > worst.apart_px.value:
        return f"{text}: wider than that distance, since each colour is blurred too."
    return f"{text}: narrower than that distance, since only where the colours clearly differ counts as fringe."
