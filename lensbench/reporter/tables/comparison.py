"""Tables of builds compared: headline figures, zones, and everything for a spreadsheet."""

from __future__ import annotations

from lensbench import frame
from lensbench.findings.comparison import BuildChange, ComparedAperture, Comparison, Difference
from lensbench.formatting import NOT_MEASURED, brief, limit, with_interval
from lensbench.reporter.tables.csv_files import as_csv, flat_columns
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.zones import zone_heading
from lensbench.reporter.words.comparison import figure_name, result_in_short

HEAD = ["figure", "result", "before", "after", "difference", "counts from"]


def headline_table(aperture: ComparedAperture) -> Table:
    """The figures that speak for the whole picture, at one aperture."""
    ours, theirs = aperture.setups
    caption = f"{aperture.aperture}: {ours} setup{'s' * (ours > 1)} before, {theirs} after"
    return Table(caption, HEAD, [_row(figure_name(one), one) for one in aperture.headlines], words=2)


def zones_table(aperture: ComparedAperture) -> Table | None:
    """Sharpness zone by zone, at one aperture."""
    rows = [one for one in aperture.zones if one.what == "sharpness"]
    if not rows:
        return None
    rows.sort(key=lambda one: frame.ZONES.index(one.part))
    caption = f"Sharpness by zone at {aperture.aperture}"
    return Table(caption, ["zone", *HEAD[1:]], [_row(zone_heading(one.part), one) for one in rows], words=2)


def _row(name: str, one: Difference) -> list[str]:
    unit = f", {one.after.unit}" if one.after.unit else ""
    counts_from = NOT_MEASURED if one.smallest_difference is None else limit(abs(one.smallest_difference))
    difference = with_interval(one.difference, unit=False, signed=True)
    return [
        f"{name}{unit}",
        result_in_short(one),
        brief(one.before, 3),
        brief(one.after, 3),
        difference,
        counts_from,
    ]


def comparison_csv(comparison: Comparison) -> dict[str, bytes]:
    """Every difference as a row, headlines and zones in a file each, by the file's name."""
    parts = {"headlines": lambda a: a.headlines, "zones": lambda a: a.zones}
    tables = {
        f"comparison_{name}.csv": [
            _columns(change, aperture, one)
            for change in comparison.changes
            for aperture in change.apertures
            for one in part(aperture)
        ]
        for name, part in parts.items()
    }
    return {name: as_csv(rows) for name, rows in tables.items() if rows}


def _columns(change: BuildChange, aperture: ComparedAperture, one: Difference) -> dict:
    before, after = aperture.setups
    return {
        "build_before": change.before.name,
        "build_after": change.after.name,
        "aperture": aperture.aperture,
        "setups_before": before,
        "setups_after": after,
        **flat_columns(one),
    }
