"""Tables of a focus series, and of setups held against one another."""

from __future__ import annotations

from lensbench.findings import Focus, Repeated, Repeats, Report
from lensbench.formatting import limit, spread, with_interval
from lensbench.reporter.tables.table import Table, zone_rows
from lensbench.reporter.values.focus import at_best_and_centre, shown_zones
from lensbench.reporter.values.repeats import repeats_name
from lensbench.reporter.values.sharpness import sharpness_unit
from lensbench.reporter.values.zones import zone_heading

_REPEATED = {"sharpness": "MTF50, {}", "fringing": "Outward fringing of {}", "falloff": "Falloff"}


def focus_tables(report: Report, focus: Focus, name: str) -> list[Table]:
    """Best focus by zone and direction, and the zones' sharpness there and with the centre in focus."""
    rows = shown_zones(focus)
    best = [
        {row.zone: row.best_mm for row in rows if row.direction == direction and row.best_mm}
        for direction in ("sagittal", "tangential")
    ]
    pairs = [(row.zone, at_best_and_centre(report, row)) for row in rows if row.direction == "mean"]
    sharp = [{zone: pair[k] for zone, pair in pairs if pair[k]} for k in (0, 1)]
    return [
        Table(
            f"Best focus at {name}, mm from the centre's (farther from the lens positive)",
            ["zone", "sagittal", "tangential"],
            zone_rows(best, signed=True),
        ),
        Table(
            f"MTF50 in {sharpness_unit(report)} at {name}",
            ["zone", "at its own best focus", "at the centre's"],
            zone_rows(sharp),
        ),
    ]


def repeats_tables(repeats: Repeats) -> list[Table]:
    """A table for each kind of figure and colour: mean, spread, noise, smallest difference that counts."""
    kinds: dict[tuple[str, str], list[Repeated]] = {}
    for row in repeats.figures:
        kinds.setdefault((row.what, row.channel), []).append(row)
    over = f"over {len(repeats.setups)} setups at {repeats_name(repeats)}"
    head = ["zone", "mean", "setup to setup", "within a shot", "smallest difference that counts"]
    return [
        Table(
            f"{_REPEATED[what].format(channel)} {over}, {rows[0].mean.unit}", head, [_repeats_row(r) for r in rows]
        )
        for (what, channel), rows in kinds.items()
    ]


def _repeats_row(row: Repeated) -> list[str]:
    return [
        zone_heading(row.zone),
        with_interval(row.mean, unit=False),
        f"{spread(row.spread.value)} ({spread(row.spread.low)} to {spread(row.spread.high)})",
        f"± {spread(row.shot_half_width)}",
        limit(row.smallest_difference),
    ]
