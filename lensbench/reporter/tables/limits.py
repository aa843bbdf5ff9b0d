"""The page's finer tables of sharpness: contrast at chosen frequencies, directions and colours, the lens alone."""

from __future__ import annotations

from lensbench.findings import Figure, Report, Setting, ZoneLimits, ZoneSharpness
from lensbench.formatting import NOT_MEASURED, with_interval
from lensbench.reporter.plots.sharpness import per_cycle, sharpness_unit, shown_channel
from lensbench.reporter.tables.page import Table, zone_rows
from lensbench.reporter.words.limits import mean_limits
from lensbench.verdicts.limits import PRINT_LIMITED

BEYOND = "beyond"
"""What stands for the MTF50 of a lens that keeps more than half of the contrast as far as can be told."""


def finer_sharpness(report: Report) -> list[Table]:
    """For every setting that has them: contrast, differences by direction and colour, what the lens alone does."""
    tables = []
    for setting in report.settings:
        if setting.sharpness and setting.sharpness.zones:
            tables += [_contrast(setting), _differences(setting), _lens_alone(report, setting)]
    return [table for table in tables if table is not None and table.rows]


def _contrast(setting: Setting) -> Table | None:
    """Contrast in percent at the chosen frequencies, and MTF50 in line widths a picture height."""
    rows = _means(setting)
    chosen = list(dict.fromkeys((c.frequency, c.unit) for row in rows for c in row.contrast))
    if not chosen:
        return None
    columns = [
        {row.zone: c.mtf.scaled(100, "%") for row in rows for c in row.contrast if (c.frequency, c.unit) == key}
        for key in chosen
    ]
    columns.append({row.zone: row.mtf50_lw_ph for row in rows if row.mtf50_lw_ph})
    head = ["zone", *(f"{frequency:g} {unit}" for frequency, unit in chosen), "MTF50, lw/ph"]
    caption = f"Contrast in percent at {setting.name}, {shown_channel(setting)}, both directions"
    return Table(caption, head, zone_rows(columns))


def _differences(setting: Setting) -> Table | None:
    """How much sharper sagittal edges are than tangential ones, and each colour than the reference."""
    channel, sharpness = shown_channel(setting), setting.sharpness
    colours = list(dict.fromkeys((row.first, row.against) for row in sharpness.colours))
    columns = [{row.zone: row.percent for row in sharpness.astigmatism if row.channel == channel}]
    columns += [
        {row.zone: row.percent for row in sharpness.colours if (row.first, row.against) == pair}
        for pair in colours
    ]
    if not any(columns):
        return None
    pairs = [f"{first} over {against}" for first, against in colours]
    head = ["zone", f"sagittal over tangential, {channel}", *pairs]
    caption = f"How much sharper one is than the other at {setting.name}, percent"
    return Table(caption, head, zone_rows(columns, signed=True))


def _lens_alone(report: Report, setting: Setting) -> Table | None:
    """The lens's own MTF50, what is possible, and what is reached of it."""
    limits = mean_limits(setting)
    if not limits:
        return None
    unit = sharpness_unit(report)
    per_unit = per_cycle(report)
    cells = [_limits_row(zone, unit, per_unit) for zone in limits.values()]
    own = [f"{what}, {unit}" for what in ("lens without the pixels", "known up to", "possible with the pixels")]
    head = ["zone", *own, "reached, %", "print takes, %"]
    caption = f"The lens alone, and the possible, at {setting.name}, mean of both directions"
    return Table(caption, head, cells)


def _limits_row(zone: ZoneLimits, unit: str, per_unit: float) -> list[str]:
    own = _own(zone, unit)
    until = NOT_MEASURED if zone.measurable_up_to is None else f"{zone.measurable_up_to * per_unit:.3g}"
    return [
        zone.zone.replace("-", " "),
        with_interval(own, unit=False) if own else f"{BEYOND} {until}",
        until,
        NOT_MEASURED if zone.best_possible_mtf50 is None else f"{zone.best_possible_mtf50 * per_unit:.3g}",
        with_interval(zone.achieved_percent, unit=False),
        NOT_MEASURED if zone.lost_to_print_percent is None else _lost(zone.lost_to_print_percent),
    ]


def _lost(higher_percent: float) -> str:
    """What the print takes of the figure that there would be without it, with a mark where that is much."""
    lost = 100 - 100 / (1 + higher_percent / 100)
    return f"{lost:.0f} !" if higher_percent > PRINT_LIMITED else f"{lost:.1f}"


def _own(zone: ZoneLimits, unit: str) -> Figure | None:
    return zone.lens_only_mtf50_lp_mm if unit == "lp/mm" else zone.lens_only_mtf50


def _means(setting: Setting) -> list[ZoneSharpness]:
    channel = shown_channel(setting)
    return [row for row in setting.sharpness.zones if row.channel == channel and row.direction == "mean"]
