"""Tables of dirt: the marks of each setting, and their depths through the apertures."""

from __future__ import annotations

import itertools

from lensbench.findings import UNTOLD, Mark, Report, Setting
from lensbench.formatting import magnitude, with_interval
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.dirt import (
    deepest_mark,
    depth_at,
    dirt_of,
    marks_of,
    numbers_at,
    shows_stopping,
    stopped_settings,
)
from lensbench.verdicts.dirt import PICTURE, where_to_look, words_on

MOST_MARKS = 20
"""So many marks stand on the page; the CSV table has all."""


def marks_tables(report: Report) -> list[Table]:
    """The marks, the most visible first, a table a setting that has any."""
    return [_marks(report, setting) for setting in report.settings if marks_of(setting)]


def marks_by_aperture(report: Report) -> Table | None:
    """Depths of the marks at each aperture, where they were followed through several."""
    dirt = dirt_of(report)
    if dirt is None or not shows_stopping(report):
        return None
    settings = stopped_settings(report)
    rows = []
    for number, mark in enumerate(dirt.marks[:MOST_MARKS], start=1):
        depths = {sighting.setting: magnitude(depth_at(report, sighting)) for sighting in mark.sightings}
        distance = with_interval(mark.distance_mm, unit=False) if mark.distance_mm else ""
        cells = [with_interval(depths[s], unit=False) if s in depths else "not seen" for s in settings]
        rows.append([str(number), mark.lies_on, *cells, distance])
    head = ["mark", "lies on", *(report.settings[s].label for s in settings), "from the sensor, mm"]
    return Table("Depth of the marks in percent at each aperture", head, rows, words=2)


def _marks(report: Report, setting: Setting) -> Table:
    marks = marks_of(setting)
    size = report.camera.size_px
    numbered = zip(numbers_at(report, setting), marks, strict=True)
    rows = [_mark_row(number, mark, size) for number, mark in itertools.islice(numbered, MOST_MARKS)]
    head = ["mark", "kind", "in the picture", "lies on", "where to look"]
    head += ["width, px", "length, px", "depth, %"]
    shown = f"{len(rows)} of {len(marks)}, " if len(rows) < len(marks) else ""
    caption = f"Marks at {setting.name}: {shown}the most visible first; mark {deepest_mark(report)} is the deepest"
    return Table(caption, head, rows, words=5)


def _mark_row(number: int, mark: Mark, size: tuple[int, int]) -> list[str]:
    kind = mark.kind if mark.depth_percent.value > 0 else f"bright {mark.kind}"
    figures = [
        with_interval(f, unit=False) for f in (mark.width_px, mark.length_px, magnitude(mark.depth_percent))
    ]
    picture = words_on(PICTURE, mark, size)
    return [str(number), kind, picture, mark.lies_on or UNTOLD, where_to_look(mark, size), *figures]
