"""Size, distortion and view on the page."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.findings import Report
from lensbench.reporter.page.panels import Panel, bare_panel
from lensbench.reporter.plots.distortion import draw_distortion
from lensbench.reporter.tables.geometry import finer_size, size_and_view
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.distortion import distortion_scale
from lensbench.reporter.words.geometry import geometry_in_words


@dataclass(frozen=True)
class SizeSection:
    """What the page shows of size and view."""

    words: list[str]
    notes: list[str]
    distortion: Panel | None
    table: Table
    finer: list[Table]


def size_section(report: Report) -> SizeSection | None:
    """The section; None where nothing of it was measured."""
    table = size_and_view(report)
    if table is None or report.geometry is None:
        return None
    return SizeSection(
        geometry_in_words(report.geometry), report.geometry.notes, _distortion(report), table, finer_size(report)
    )


def _distortion(report: Report) -> Panel | None:
    distortion = report.geometry.distortion if report.geometry else None
    if distortion is None:
        return None
    width, height = report.camera.size_px
    caption = f"How the lens draws a straight grid, its {distortion.shape} distortion enlarged "
    if distortion.shape == "none":
        caption = "How the lens draws a straight grid, the distortion enlarged "
    caption += f"{distortion_scale(distortion):g} times"
    return bare_panel(lambda axes: draw_distortion(axes, report, distortion), "", caption, width / height)
