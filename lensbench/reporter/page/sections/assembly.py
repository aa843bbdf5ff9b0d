"""Put together straight? The leans side-on, the optical centres and the turn tests on the page."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

from lensbench.findings import Report
from lensbench.reporter.page.panels import Panel, bare_panel
from lensbench.reporter.plots.centres import ASPECT as CENTRES_ASPECT
from lensbench.reporter.plots.centres import draw_centres
from lensbench.reporter.plots.lean import ASPECT as LEAN_ASPECT
from lensbench.reporter.plots.lean import draw_lean
from lensbench.reporter.tables.geometry import assembly_tables
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.lean import leans_of
from lensbench.reporter.words.cautions import OPENING
from lensbench.reporter.words.lean import lean_in_words

_LEAN_IN = 3.0


@dataclass(frozen=True)
class AssemblySection:
    """What the page shows of how the build was put together."""

    text: str
    leans: list[Panel]
    centres: Panel | None
    tables: list[Table]
    cautions: Sequence[str]


def assembly_section(report: Report) -> AssemblySection | None:
    """The section; None where there is neither a lean nor a centre to show."""
    assembly = report.verdict.assembly if report.verdict else None
    leans = _leans(report)
    if assembly is None or not (assembly.centres or leans):
        return None
    centres = None
    if assembly.centres:
        centres = bare_panel(
            lambda axes: draw_centres(axes, assembly),
            "",
            "Optical centres around the frame's centre, as seen in the picture",
            CENTRES_ASPECT,
        )
    return AssemblySection(assembly.text, leans, centres, assembly_tables(report), OPENING)


def _leans(report: Report) -> list[Panel]:
    """How sensor, lens and sheet leaned, from above and from the side, if the report says so."""
    leans = leans_of(report)
    return [
        bare_panel(
            functools.partial(draw_lean, lean=lean, leans=leans),
            f"Seen {lean.view}",
            lean_in_words(lean, leans),
            LEAN_ASPECT,
            _LEAN_IN,
        )
        for lean in leans
    ]
