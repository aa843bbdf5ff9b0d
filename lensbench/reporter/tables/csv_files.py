"""The report as CSV tables, one file a kind of finding, full digits, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator

import msgspec

from lensbench.findings import Figure, Report, Setting
from lensbench.reporter.tables.csv_light import shape_rows
from lensbench.reporter.tables.csv_sharpness import contrast_rows, curve_rows


def csv_files(report: Report) -> dict[str, bytes]:
    """Every table that has a row as the content of a CSV file, by the file's name.

    Figures take three columns: the value, then the ends of its interval, as ``stops``, ``stops_low`` and
    ``stops_high``. The first columns say which setting a row belongs to.
    """
    return {f"{name}.csv": as_csv(rows) for name, rows in report_tables(report).items() if rows}


def report_tables(report: Report) -> dict[str, list[dict]]:
    """The tables by name, each a list of rows, each row a value by column."""
    return {
        "sharpness_zones": _rows(report, lambda s: s.sharpness.zones if s.sharpness else ()),
        "sharpness_edges": _rows(report, lambda s: s.sharpness.edges if s.sharpness else ()),
        "sharpness_tiles": _rows(report, lambda s: s.sharpness.tiles if s.sharpness else ()),
        "sharpness_astigmatism": _rows(report, lambda s: s.sharpness.astigmatism if s.sharpness else ()),
        "sharpness_colours": _rows(report, lambda s: s.sharpness.colours if s.sharpness else ()),
        "sharpness_contrast": _plain_rows(report, contrast_rows),
        "sharpness_curves": _plain_rows(report, curve_rows),
        "sharpness_limits": _rows(report, lambda s: s.limits.zones if s.limits else ()),
        "focus_zones": _rows(report, lambda s: s.focus.zones if s.focus else ()),
        "focus_tiles": _rows(report, lambda s: s.focus.tiles if s.focus else ()),
        "fringing_zones": _rows(report, lambda s: s.fringing.zones if s.fringing else ()),
        "fringing_tiles": _rows(report, lambda s: s.fringing.tiles if s.fringing else ()),
        "falloff_zones": _rows(report, lambda s: s.falloff.zones if s.falloff else ()),
        "falloff_profile": _rows(report, lambda s: s.falloff.profile if s.falloff else ()),
        "falloff_contours": _rows(report, lambda s: s.falloff.contours if s.falloff else ()),
        "falloff_shape": _plain_rows(report, shape_rows),
        "light_cast": _rows(report, lambda s: s.falloff.cast if s.falloff else ()),
        "light_reach": _rows(
            report, lambda s: s.falloff.coverage.usable if s.falloff and s.falloff.coverage else ()
        ),
        "glare_zones": _rows(report, lambda s: s.glare.zones if s.glare else ()),
        "glare_tiles": _rows(report, lambda s: s.glare.tiles if s.glare else ()),
        "glow_zones": _rows(report, lambda s: s.glow.zones if s.glow else ()),
        "dirt_marks": _rows(report, lambda s: s.dust.marks if s.dust else ()),
        "distortion_curve": _rows(
            report, lambda s: s.geometry.distortion.curve if s.geometry and s.geometry.distortion else ()
        ),
        "size_zones": _rows(report, lambda s: s.geometry.magnification_zones if s.geometry else ()),
        "repeats": _repeats_rows(report),
        "apertures": _series_rows(report),
    }


def _rows(report: Report, findings_of: Callable[[Setting], Iterable[msgspec.Struct]]) -> list[dict[str, object]]:
    return [
        {**_setting_columns(setting), **dict(_flat(finding))}
        for setting in report.settings
        for finding in findings_of(setting)
    ]


def _plain_rows(
    report: Report, rows_of: Callable[[Setting], Iterable[dict[str, object]]]
) -> list[dict[str, object]]:
    return [{**_setting_columns(setting), **row} for setting in report.settings for row in rows_of(setting)]


def _repeats_rows(report: Report) -> list[dict]:
    """A row for each figure that was measured in several setups."""
    return [
        {"aperture": Setting(part.f_number, part.aperture).label, "lens_turn_deg": part.lens_turn_deg}
        | dict(_flat(figure))
        for part in report.repeats
        for figure in part.figures
    ]


def _series_rows(report: Report) -> list[dict]:
    """A row for each aperture, where several were shot."""
    series = report.verdict.series if report.verdict else None
    return [dict(_flat(row)) for row in series.figures] if series else []


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


def flat_columns(finding: msgspec.Struct) -> dict[str, object]:
    """A finding's figures and words by column."""
    return dict(_flat(finding))


def as_csv(rows: list[dict]) -> bytes:
    """Rows as the content of a CSV file, under the names of their columns."""
    # A figure missing in one row has its columns from the others.
    columns = list(dict.fromkeys(column for row in sorted(rows, key=len, reverse=True) for column in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, restval="")
    writer.writeheader()
    writer.writerows({column: _cell(value) for column, value in row.items()} for row in rows)
    return text.getvalue().encode()


def _cell(value: object) -> object:
    """A cell's value; words that a spreadsheet would run as a formula begin with an apostrophe."""
    if isinstance(value, str) and value.lstrip().startswith(("=", "+", "-", "@")):
        return f"'{value}"
    return "" if value is None else value
