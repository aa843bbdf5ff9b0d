"""The aperture series as a table: a row an aperture."""

from __future__ import annotations

from lensbench.findings import ApertureFigures, Figure, Report
from lensbench.formatting import NOT_MEASURED, bare, with_interval
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.sharpness import sharpness_unit

CAPTION = (
    "What each aperture shows, over all of its setups. Possible is what diffraction and the pixels allow in the "
    "centre at the effective aperture; even is the softest zone in percent of the sharpest; depth of field is to "
    "either side; glow is light thrown far from edges, over the whole frame."
)


def aperture_table(report: Report) -> Table | None:
    """The table; None where only one aperture was shot."""
    series = report.verdict.series if report.verdict else None
    if series is None or len(series.figures) < 2:
        return None
    unit = sharpness_unit(report)
    head = [
        "",
        "works as",
        f"centre, {unit}",
        f"possible, {unit}",
        f"corners, {unit}",
        "even, %",
        "depth, mm",
        "fringing, px",
        "glow, %",
        "falloff, stops",
        "marks",
    ]
    return Table(CAPTION, head, [[row.aperture, *_cells(row)] for row in series.figures])


def _cells(row: ApertureFigures) -> list[str]:
    effective = f"f/{row.effective_f_number:.3g}" if row.effective_f_number else NOT_MEASURED
    possible = f"{row.possible_mtf50:.3g}" if row.possible_mtf50 else NOT_MEASURED
    return [
        effective,
        with_interval(row.centre, unit=False),
        possible,
        with_interval(row.corners, unit=False),
        with_interval(row.evenness_percent, unit=False),
        _depth(row.depth_mm, row.depth_by),
        with_interval(row.fringing_px, unit=False),
        with_interval(row.glow_percent, unit=False),
        with_interval(row.falloff_stops, unit=False),
        NOT_MEASURED if row.marks is None else str(row.marks),
    ]


def _depth(depth: Figure | None, by: str) -> str:
    """A measured depth with its interval; that of the rule alone."""
    if depth is None:
        return NOT_MEASURED
    return f"± {bare(depth)}" if by == "measured" else f"± {depth.value:.2g}"
