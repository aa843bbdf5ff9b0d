"""The report as CSV tables, one file a kind of finding, full digits, for a spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path

import msgspec

from lensbench.findings import Figure, Report, Setting


def write_tables(report: Report, folder: Path) -> None:
    """Write every table that has a row into a folder.

    Figures take three columns: the value, then the ends of its interval, as ``stops``, ``stops_low`` and
    ``stops_high``. The first columns say which setting a row belongs to.
    """
    for name, rows in report_tables(report).items():
        if rows:
            _write_csv(folder / f"{name}.csv", rows)


def report_tables(report: Report) -> dict[str, list[dict]]:
    """The tables by name, each a list of rows, each row a value by column."""
    return {
        "sharpness_zones": _rows(report, lambda s: s.sharpness.zones if s.sharpness else ()),
        "sharpness_edges": _rows(report, lambda s: s.sharpness.edges if s.sharpness else ()),
        "fringing_zones": _rows(report, lambda s: s.fringing.zones if s.fringing else ()),
        "fringing_tiles": _rows(report, lambda s: s.fringing.tiles if s.fringing else ()),
        "falloff_zones": _rows(report, lambda s: s.falloff.zones if s.falloff else ()),
        "dirt_marks": _rows(report, lambda s: s.dust.marks if s.dust else ()),
    }


def _rows(report: Report, findings_of) -> list[dict]:
    return [
        {**_setting_columns(setting), **dict(_flat(finding))}
        for setting in report.settings
        for finding in findings_of(setting)
    ]


def _setting_columns(setting: Setting) -> dict:
    return {"aperture": setting.label, "lens_turn_deg": setting.lens_turn_deg, "setup": setting.setup}


def _flat(finding: msgspec.Struct, prefix: str = "") -> Iterator[tuple[str, object]]:
    """A struct's scalar fields by column name; lists and maps have no place in a table."""
    for name in finding.__struct_fields__:
        value, column = getattr(finding, name), f"{prefix}{name}"
        if isinstance(value, Figure):
            yield from ((column, value.value), (f"{column}_low", value.low), (f"{column}_high", value.high))
        elif isinstance(value, msgspec.Struct):
            yield from _flat(value, f"{column}_")
        elif not isinstance(value, list | tuple | dict):
            yield column, value


def _write_csv(path: Path, rows: Iterable[dict]) -> None:
    rows = list(rows)
    # A figure missing in one row has its columns from the others.
    columns = list(dict.fromkeys(column for row in sorted(rows, key=len, reverse=True) for column in row))
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows({k: "" if v is None else v for k, v in row.items()} for row in rows)
