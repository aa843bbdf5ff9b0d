"""Dirt marks as they are shown: which setting's numbers they bear, and their depths by aperture."""

from __future__ import annotations

import math

from lensbench import frame
from lensbench.findings import Dirt, Figure, Mark, Report, Setting, Sighting

NUMBERED_MARKS = 12
"""So many marks bear their number in drawings; the rest are drawn without."""


_SAME_PLACE = 0.01
"""How far apart, in half-diagonals, two settings may show one mark: distortion and breathing move it a little."""


def marks_of(setting: Setting) -> list[Mark]:
    """A setting's marks, the most visible first."""
    return setting.dust.marks if setting.dust else []


def mark_numbers(report: Report) -> list[list[int]]:
    """One number a mark for the whole session: for each setting, those of its marks.

    Marks that were followed through the apertures come first. One that was not bears the number of a mark of its
    kind that an earlier setting shows at the same place in the picture, or the next number.
    """
    dirt = dirt_of(report)
    numbers = [[0] * len(marks_of(setting)) for setting in report.settings]
    for number, traced in enumerate(dirt.marks if dirt else [], start=1):
        for sighting in traced.sightings:
            numbers[sighting.setting][sighting.mark] = number
    for own, setting in zip(numbers, report.settings, strict=True):
        others = _numbered(report, numbers, apart_from=own)
        for place, mark in enumerate(marks_of(setting)):
            if not own[place]:
                own[place] = _same_mark(report, mark, others, own) or 1 + max(map(max, filter(None, numbers)))
    return numbers


def _numbered(report: Report, numbers: list[list[int]], apart_from: list[int]) -> list[tuple[int, Mark]]:
    """The marks that have a number already, with it, but for one setting's."""
    rows = [(row, marks_of(setting)) for row, setting in zip(numbers, report.settings, strict=True)]
    return [
        pair for row, marks in rows if row is not apart_from for pair in zip(row, marks, strict=True) if pair[0]
    ]


def _same_mark(report: Report, mark: Mark, others: list[tuple[int, Mark]], taken: list[int]) -> int | None:
    """The number of a mark of this kind that another setting shows at this place."""
    near = _SAME_PLACE * frame.half_diagonal(report.camera.size_px)
    for number, other in others:
        close = math.hypot(other.x - mark.x, other.y - mark.y) <= near
        if close and other.kind == mark.kind and number not in taken:
            return number
    return None


def numbers_at(report: Report, setting: Setting) -> list[int]:
    """The numbers of one setting's marks: those of the session where it is one of the report's own."""
    every = zip(mark_numbers(report), report.settings, strict=True)
    alone = list(range(1, 1 + len(marks_of(setting))))
    return next((own for own, other in every if other is setting), alone)


def deepest_mark(report: Report) -> int | None:
    """The number of the mark that takes most light at any aperture; None without marks."""
    depths = [
        (abs(mark.depth_percent.value), number)
        for own, setting in zip(mark_numbers(report), report.settings, strict=True)
        for number, mark in zip(own, marks_of(setting), strict=True)
    ]
    return max(depths)[1] if depths else None


def most_marked(report: Report) -> Setting | None:
    """The setting that shows most marks, the first of several; None where none shows any."""
    marked = [setting for setting in report.settings if marks_of(setting)]
    return max(marked, key=lambda setting: len(marks_of(setting)), default=None)


def dirt_of(report: Report) -> Dirt | None:
    """What was concluded about the marks of all settings together."""
    return report.verdict.dirt if report.verdict else None


def stopped_settings(report: Report) -> list[int]:
    """Numbers of the settings, in rising f-number, through which the marks were followed."""
    dirt = dirt_of(report)
    if dirt is None or not dirt.marks:
        return []
    first = report.settings[dirt.marks[0].sightings[0].setting]
    return [
        number
        for number, setting in enumerate(report.settings)
        if setting.dust is not None
        and setting.f_number is not None
        and (setting.lens_turn_deg, setting.setup) == (first.lens_turn_deg, first.setup)
    ]


def shows_stopping(report: Report) -> bool:
    """Whether marks were looked for at several f-numbers."""
    return len(stopped_settings(report)) > 1


def depth_at(report: Report, sighting: Sighting) -> Figure:
    """The depth of a mark where it was seen."""
    return marks_of(report.settings[sighting.setting])[sighting.mark].depth_percent
