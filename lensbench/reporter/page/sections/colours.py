"""Lateral colour on the page."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes

from lensbench.findings import Report, Setting
from lensbench.reporter.page.panels import Panel, frame_panels
from lensbench.reporter.plots.fringing import draw_fringing
from lensbench.reporter.tables.fringing import fringing_tables
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.fringing import arrow_scale, tiles_of
from lensbench.reporter.words.fringing import fringing_in_short, fringing_in_words


@dataclass(frozen=True)
class ColoursSection:
    """What the page shows of lateral colour; arrows are drawn `arrow_scale` times as long as it is."""

    arrows: list[Panel]
    arrow_scale: str
    words: list[str]
    tables: list[Table]


def colours_section(report: Report) -> ColoursSection | None:
    """The section; None where no tile's colours were measured."""
    arrows = frame_panels(report, lambda setting: bool(tiles_of(setting)), _draw, fringing_in_short)
    if not arrows:
        return None
    return ColoursSection(arrows, f"{arrow_scale(report):.0f}", fringing_in_words(report), fringing_tables(report))


def _draw(axes: Axes, report: Report, setting: Setting) -> None:
    draw_fringing(axes, report, setting, line=0.9)
