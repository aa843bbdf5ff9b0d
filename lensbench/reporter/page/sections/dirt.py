"""Dirt on the page: where to wipe, and what shows as the iris closes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lensbench.findings import Dirt, Report, Setting
from lensbench.reporter.page.panels import Panel, bare_panel, scaled_panel
from lensbench.reporter.plots.marks_by_aperture import draw_marks_by_aperture
from lensbench.reporter.plots.marks_on_glass import draw_face
from lensbench.reporter.tables.dirt import marks_by_aperture, marks_tables
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.dirt import dirt_of, most_marked, shows_stopping
from lensbench.reporter.words.captions import marks_on_face_in_short
from lensbench.verdicts.dirt import CAUTIONS, FACES

_FACE_IN = 1.8


@dataclass(frozen=True)
class DirtSection:
    """What the page shows of dirt; the faces bear the numbers of the marks at `numbered_at`."""

    dirt: Dirt | None
    numbered_at: str
    faces: list[Panel]
    cautions: Sequence[str]
    marks: list[Table]
    stopping: Panel | None
    by_aperture: Table | None


def dirt_section(report: Report) -> DirtSection | None:
    """The section; None where no flat shows a mark."""
    setting = most_marked(report)
    if setting is None:
        return None
    return DirtSection(
        dirt=dirt_of(report),
        numbered_at=setting.name,
        faces=[_face(report, setting, face) for face in FACES],
        cautions=CAUTIONS,
        marks=marks_tables(report),
        stopping=_stopping(report) if shows_stopping(report) else None,
        by_aperture=marks_by_aperture(report),
    )


def _face(report: Report, setting: Setting, face: str) -> Panel:
    """The small picture of where the marks lie on one face."""
    short = marks_on_face_in_short(setting, face)
    return bare_panel(lambda axes: draw_face(axes, report, setting, face), face, short, 1.0, _FACE_IN)


def _stopping(report: Report) -> Panel:
    """How deep the marks are at each aperture."""
    caption = (
        "Depth of each mark by f-number. Full lines: on the sensor; broken: on the lens; dotted: on the light "
        "panel; thin: can't tell"
    )
    return scaled_panel(lambda axes: draw_marks_by_aperture(axes, report), "", caption)
