"""The glow of edges on the page: sentences and tables."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.findings import Report
from lensbench.reporter.tables.glow import glow_tables
from lensbench.reporter.tables.table import Table
from lensbench.reporter.words.glow import glow_in_words


@dataclass(frozen=True)
class GlowSection:
    """What the page shows of glow."""

    words: list[str]
    tables: list[Table]


def glow_section(report: Report) -> GlowSection | None:
    """The section on glow; None where no edge showed its tails."""
    tables = glow_tables(report)
    return GlowSection(glow_in_words(report), tables) if tables else None
