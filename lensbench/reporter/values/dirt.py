"""Dirt marks as they are shown: which setting's numbers they bear, and their depths by aperture."""

from __future__ import annotations

from lensbench.findings import Dirt, Figure, Mark, Report, Setting, Sighting

NUMBERED_MARKS = 12
"""So many marks bear their number in drawings; the rest are drawn without."""


def marks_of(setting: Setting) -> list[Mark]:
    """A setting's marks, the most visible first."""
    return setting.dust.marks if setting.dust else []


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
