"""What the glow of edges means, in sentences."""

from __future__ import annotations

from lensbench.findings import Glow, Report, Setting, ZoneGlow
from lensbench.formatting import number, with_interval
from lensbench.reporter.values.glow import glows_of, worst_zone
from lensbench.reporter.values.zones import in_the
from lensbench.verdicts.zones import whole_frame

STOPPED_DOWN = 1.4
"""F-numbers at least so many times apart are compared: a stop."""

MUCH_LESS = 0.5
"""Glow that falls to less than so much of itself goes as the aperture closes (our own choice)."""


def glow_in_words(report: Report) -> list[str]:
    """Sentences on the glow of each setting, what it does as the aperture closes, and what limits the figures."""
    said = [_of_setting(setting, glow) for setting, glow in glows_of(report)]
    aperture = _with_aperture(report)
    notes = dict.fromkeys(note for _, glow in glows_of(report) for note in glow.notes)
    return [*filter(None, said), *([aperture] if aperture else []), *notes]


def _of_setting(setting: Setting, glow: Glow) -> str:
    frame = whole_frame(glow)
    if frame is None:
        return ""
    reach = f"{number(glow.reach_px, 0)} px"
    if frame.glow_percent.low <= 0:
        most = number(frame.glow_percent.high, 1)
        return (
            f"{setting.name}: no glow shows beyond what diffraction may do; it is {most} % of an edge's light at "
            f"most, up to {reach} from the edge."
        )
    text = (
        f"{setting.name}: {with_interval(frame.glow_percent)} of an edge's light lands {number(frame.from_px, 1)} "
        f"to {reach} away from it, besides what diffraction does{_half_within(frame)}"
    )
    worst = worst_zone(glow)
    if worst and worst.glow_percent.low > frame.glow_percent.high:
        text += f". It is worst in {in_the(worst.zone)}: {with_interval(worst.glow_percent)}"
    return f"{text}."


def _half_within(frame: ZoneGlow) -> str:
    if frame.width_px is None:
        return ""
    um = f" ({with_interval(frame.width_um)})" if frame.width_um else ""
    return f"; half of that within {with_interval(frame.width_px)}{um}"


def _with_aperture(report: Report) -> str:
    """What the glow does from the widest aperture to the one that shows least: aberration goes, haze stays."""
    series = [
        (setting.f_number, setting.label, frame.glow_percent)
        for setting, glow in glows_of(report)
        if setting.f_number and not setting.lens_turn_deg and (frame := whole_frame(glow))
    ]
    if not series or series[0][2].low <= 0:
        return ""
    widest, wide, most = series[0]
    closed = [(label, glow) for f_number, label, glow in series if f_number >= STOPPED_DOWN * widest]
    if not closed:
        return ""
    narrow, least = min(closed, key=lambda pair: pair[1].high)
    if least.high < MUCH_LESS * most.low:
        return (
            f"Stopping down from {wide} to {narrow} takes most of it away: it comes from the outer "
            "parts of the glass (spherical aberration, or haze and scratches near the rim), so a "
            "smaller aperture helps."
        )
    if least.low > MUCH_LESS * most.high:
        return (
            f"It stays down to {narrow}, so it isn't aberration: haze, film, scratches or cement scatter "
            "light all over the glass. Cleaning may help; blackening rims and tubes helps "
            "only against veiling glare."
        )
    return ""
