"""A table as text, and its rows by zone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from lensbench import frame
from lensbench.findings import Figure
from lensbench.formatting import with_interval
from lensbench.reporter.values.zones import zone_heading


@dataclass(frozen=True)
class Table:
    """A table as text: a caption, the headings (grouped under `groups` where given), and rows of cells.

    The first cell of a row is its heading; the first `words` columns hold words, the rest figures.
    """

    caption: str
    head: list[str]
    rows: list[list[str]]
    groups: list[tuple[str, int]] = field(default_factory=list)
    words: int = 1


def zone_rows(columns: Sequence[Mapping[str, Figure | None]], signed: bool = False) -> list[list[str]]:
    """A row a zone, a cell a column; zones that no column knows are left out."""
    return [
        [
            zone_heading(zone),
            *(with_interval(column.get(zone), unit=False, signed=signed) for column in columns),
        ]
        for zone in frame.ZONES
        if any(zone in column for column in columns)
    ]
