"""What the figures are worth: repeated setups, the shots measured, and the edges left out."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.findings import Report
from lensbench.reporter.tables.focus import repeats_tables
from lensbench.reporter.tables.sharpness import edges_left_out
from lensbench.reporter.tables.table import Table
from lensbench.reporter.words.repeats import repeats_in_words


@dataclass(frozen=True)
class RepeatsPart:
    """What the page shows of one aperture's setups."""

    words: str
    tables: list[Table]


@dataclass(frozen=True)
class TrustSection:
    """What the page says of the figures' worth; `shots` are settings' names, each with its files."""

    repeats: list[RepeatsPart]
    shots: list[tuple[str, str]]
    left_out: list[Table]


def trust_section(report: Report) -> TrustSection:
    """The section; every report has it."""
    return TrustSection(
        repeats=[RepeatsPart(repeats_in_words(repeats), repeats_tables(repeats)) for repeats in report.repeats],
        shots=[(setting.name, ", ".join(setting.shots)) for setting in report.settings],
        left_out=edges_left_out(report),
    )
