"""Tables of sharpness: by zone, colour and aperture, contrast, differences, the lens alone, edges left out."""

from __future__ import annotations

from collections import Counter

from lensbench.findings import EdgeSharpness, Figure, Report, Setting, ZoneLimits
from lensbench.formatting import NOT_MEASURED, with_interval
from lensbench.reporter.tables.table import Table, zone_rows
from lensbench.reporter.values.sharpness import (
    channels_of,
    figures_of,
    mean_limits,
    mean_rows,
    per_cycle,
    sharpness_unit,
    shown_channel,
    zone_figures,
)
from lensbench.reporter.values.zones import zone_heading
from lensbench.verdicts.limits import PRINT_LIMITED

BEYOND = "above"
"""What stands for the MTF50 of a lens that keeps more than half of the contrast as far as can be measured."""


def sharpness_by_zone(report: Report) -> Table | None:
    """MTF50 by zone and direction, all settings side by side; None without any."""
    unit = sharpness_unit(report)
    shown = [setting for setting in report.settings if zone_figures(setting, unit)]
    if not shown:
        return None
    directions = ["sagittal", "tangential"]
    columns = [figures_of(setting, unit, direction) for setting in shown for direction in directions]
    caption = f"MTF50 in {unit}, {shown_channel(shown[0])}, with 95 % intervals"
    groups = [(setting.name, 2) for setting in shown]
    return Table(caption, ["zone", *directions * len(shown)], zone_rows(columns), groups)


def sharpness_by_colour(report: Report) -> list[Table]:
    """MTF50 by zone and colour, mean of both directions, a table a setting that has several colours."""
    unit = sharpness_unit(report)
    return [
        Table(
            f"MTF50 in {unit} by colour at {setting.name}, mean of both directions",
            ["zone", *channels_of(setting)],
            zone_rows([figures_of(setting, unit, "mean", channel) for channel in channels_of(setting)]),
        )
        for setting in report.settings
        if len(channels_of(setting)) > 1
    ]


def sharpness_by_aperture(report: Report) -> Table | None:
    """The apertures side by side, where there are several."""
    rankings = {ranking.part: ranking.ranked for ranking in report.verdict.aperture} if report.verdict else {}
    parts = [part for part in ("frame", "centre", "corners") if part in rankings]
    columns = [{one.label: one for one in rankings[part]} for part in parts]
    if not columns or len(columns[0]) < 2:
        return None
    rows = []
    for name, one in columns[0].items():
        means = [with_interval(column[name].mean, unit=False) for column in columns]
        rows.append([name, str(len(one.settings)), *means])
    head = ["aperture", "setups", *("whole frame" if part == "frame" else part for part in parts)]
    unit = sharpness_unit(report)
    return Table(f"Apertures by MTF50 in {unit}, averaged over the area; of several setups their mean", head, rows)


def finer_sharpness(report: Report) -> list[Table]:
    """For every setting that has them: contrast, differences by direction and colour, what the lens alone does."""
    tables = []
    for setting in report.settings:
        tables += [_contrast(setting), _differences(setting), _lens_alone(report, setting)]
    return [table for table in tables if table is not None and table.rows]


def edges_left_out(report: Report) -> list[Table]:
    """How many edges were left out of the zones' figures, by reason, a table a setting that has such."""
    return [
        _left_out(setting.name, setting.sharpness.edges)
        for setting in report.settings
        if setting.sharpness and any(not edge.used and edge.reason for edge in setting.sharpness.edges)
    ]


def _contrast(setting: Setting) -> Table | None:
    """Contrast in percent at the chosen frequencies, and MTF50 in line widths a picture height."""
    rows = mean_rows(setting)
    chosen = list(dict.fromkeys((c.frequency, c.unit) for row in rows for c in row.contrast))
    if not chosen:
        return None
    columns = [
        {row.zone: c.mtf.scaled(100, "%") for row in rows for c in row.contrast if (c.frequency, c.unit) == key}
        for key in chosen
    ]
    columns.append({row.zone: row.mtf50_lw_ph for row in rows if row.mtf50_lw_ph})
    head = ["zone", *(f"{frequency:g} {unit}" for frequency, unit in chosen), "MTF50, lw/ph"]
    caption = f"Contrast in percent at {setting.name}, {shown_channel(setting)}, mean of both directions"
    return Table(caption, head, zone_rows(columns))


def _differences(setting: Setting) -> Table | None:
    """How much sharper sagittal edges are than tangential ones, and each colour than the reference."""
    channel, sharpness = shown_channel(setting), setting.sharpness
    if sharpness is None:
        return None
    colours = list(dict.fromkeys((row.first, row.against) for row in sharpness.colours))
    columns = [{row.zone: row.percent for row in sharpness.astigmatism if row.channel == channel}]
    columns += [
        {row.zone: row.percent for row in sharpness.colours if (row.first, row.against) == pair}
        for pair in colours
    ]
    pairs = [f"{first} over {against}" for first, against in colours]
    head = ["zone", f"sagittal over tangential, {channel}", *pairs]
    caption = f"How much sharper one is than the other at {setting.name}, percent"
    return Table(caption, head, zone_rows(columns, signed=True))


def _lens_alone(report: Report, setting: Setting) -> Table | None:
    """The lens's own MTF50, what is possible, and how much of that it achieves."""
    limits = mean_limits(setting)
    if not limits:
        return None
    unit = sharpness_unit(report)
    cells = [_limits_row(zone, unit, per_cycle(report)) for zone in limits.values()]
    own = [f"{what}, {unit}" for what in ("lens alone", "measurable up to", "best possible")]
    head = ["zone", *own, "achieved, %", "lost to print, %"]
    caption = (
        f"The lens alone, and the best possible with these pixels, at {setting.name}, mean of both directions"
    )
    return Table(caption, head, cells)


def _limits_row(zone: ZoneLimits, unit: str, per_unit: float) -> list[str]:
    own = _own(zone, unit)
    until = NOT_MEASURED if zone.measurable_up_to is None else f"{zone.measurable_up_to * per_unit:.3g}"
    return [
        zone_heading(zone.zone),
        with_interval(own, unit=False) if own else f"{BEYOND} {until}",
        until,
        NOT_MEASURED if zone.best_possible_mtf50 is None else f"{zone.best_possible_mtf50 * per_unit:.3g}",
        with_interval(zone.achieved_percent, unit=False),
        NOT_MEASURED if zone.lost_to_print_percent is None else _lost(zone.lost_to_print_percent),
    ]


def _lost(higher_percent: float) -> str:
    """How much lower the print makes the figure than it would be without it, with a mark where that is much."""
    lost = 100 - 100 / (1 + higher_percent / 100)
    return f"{lost:.0f} !" if higher_percent > PRINT_LIMITED else f"{lost:.1f}"


def _own(zone: ZoneLimits, unit: str) -> Figure | None:
    return zone.lens_only_mtf50_lp_mm if unit == "lp/mm" else zone.lens_only_mtf50


def _left_out(name: str, edges: list[EdgeSharpness]) -> Table:
    reasons = Counter(edge.reason for edge in edges if not edge.used and edge.reason)
    rows = [[reason.value, str(count)] for reason, count in reasons.most_common()]
    return Table(f"Edges left out at {name}, of {len(edges)}", ["reason", "edges"], rows)
