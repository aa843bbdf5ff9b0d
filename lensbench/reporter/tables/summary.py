"""The report in one table, a line a setting: what stands at the end of a run."""

from __future__ import annotations

from lensbench import frame
from lensbench.findings import Report, Setting
from lensbench.formatting import NOT_MEASURED, with_interval
from lensbench.reporter.values.fringing import farthest_colour
from lensbench.reporter.values.sharpness import figures_of, sharpness_unit
from lensbench.verdicts.zones import known_zones


def summary_table(report: Report) -> tuple[list[str], list[list[str]]]:
    """Headings and rows, one a setting, each figure rounded to its interval."""
    unit = sharpness_unit(report)
    head = [
        "",
        f"centre, {unit}",
        f"softest zone, {unit}",
        "farthest colour from green, px",
        "darkest zone, stops",
        "marks",
    ]
    rows = [[setting.name, *_cells(setting, unit)] for setting in report.settings]
    return head, rows


def _cells(setting: Setting, unit: str) -> list[str]:
    means = figures_of(setting, unit, "mean")
    known = [one.figures[0] for one in known_zones([setting]).values()]
    softest = min(known, key=lambda figure: figure.value, default=None)
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
    farthest = farthest_colour(setting)
    if farthest is None:
        return NOT_MEASURED
    zone, figure = farthest
    return f"{zone.channel} {with_interval(figure, unit=False)}"
