"""The report in one table, a line a setting: what stands at the end of a run."""

from __future__ import annotations

import math

from lensbench import frame
from lensbench.findings import Figure, Report, Setting
from lensbench.reporter import sentences
from lensbench.reporter.focus_words import centre_repeated
from lensbench.reporter.numbers import NOT_MEASURED, magnitude, spread, with_interval
from lensbench.reporter.sharpness_panel import sharpness_unit, zone_figures


def summary_table(report: Report) -> tuple[list[str], list[list[str]]]:
    """Headings and rows, one a setting, each figure rounded to its interval."""
    unit = sharpness_unit(report)
    head = [
        "",
        f"centre, {unit}",
        f"softest zone, {unit}",
        "fringing at worst, px",
        "darkest zone, stops",
        "marks",
    ]
    rows = [[sentences.setting_name(setting), *_cells(setting, unit)] for setting in report.settings]
    if report.repeats:
        head.append(f"setup to setup, {unit}")
        rows = [[*row, _spread(report, setting)] for row, setting in zip(rows, report.settings, strict=True)]
    return head, rows


def _spread(report: Report, setting: Setting) -> str:
    """How far sharpness in the centre changes from setup to setup at this aperture."""
    taken = (setting.f_number, setting.aperture, setting.lens_turn_deg)
    for repeats in report.repeats:
        row = centre_repeated(repeats)
        if row and (repeats.f_number, repeats.aperture, repeats.lens_turn_deg) == taken:
            return f"± {spread(row.spread.value)}"
    return NOT_MEASURED


def _cells(setting: Setting, unit: str) -> list[str]:
    means = {zone: figure for (zone, way), figure in zone_figures(setting, unit).items() if way == "mean"}
    softest = min(means.values(), key=lambda figure: figure.value, default=None)
    dark = setting.falloff.zones if setting.falloff else []
    darkest = max((zone.stops for zone in dark), key=lambda figure: figure.value, default=None)
    return [
        with_interval(means.get(frame.ZONES[0]), unit=False),
        with_interval(softest, unit=False),
        _fringing(setting),
        with_interval(darkest, unit=False),
        str(len(setting.dust.marks)) if setting.dust else NOT_MEASURED,
    ]


def _fringing(setting: Setting) -> str:
    worst = worst_fringing(setting)
    if worst is None:
        return NOT_MEASURED
    channel, figure = worst
    return f"{channel} {with_interval(figure, unit=False)}"


def worst_fringing(setting: Setting) -> tuple[str, Figure] | None:
    """The channel that lies farthest from green in any zone, and how far."""
    zones = setting.fringing.zones if setting.fringing else []
    if not zones:
        return None
    worst = max(zones, key=lambda zone: math.hypot(zone.radial_px.value, zone.around_px.value))
    radial, around = magnitude(worst.radial_px), magnitude(worst.around_px)
    size = math.hypot(radial.value, around.value)
    half = math.hypot(radial.value * radial.half_width, around.value * around.half_width) / size if size else 0.0
    return worst.channel, Figure.of(size, half, "px")
