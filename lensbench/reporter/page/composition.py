"""The page: report.html, one file that opens anywhere, without a network, and prints well."""

from __future__ import annotations

import base64
from pathlib import Path

import imageio.v3 as iio
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from lensbench.findings import Report
from lensbench.reporter.page.sections.assembly import assembly_section
from lensbench.reporter.page.sections.colours import colours_section
from lensbench.reporter.page.sections.dirt import dirt_section
from lensbench.reporter.page.sections.focus import focus_section
from lensbench.reporter.page.sections.light import glare_section, light_section
from lensbench.reporter.page.sections.sharpness import sharpness_section
from lensbench.reporter.page.sections.size import size_section
from lensbench.reporter.page.sections.trust import trust_section
from lensbench.reporter.plots.style import house_style
from lensbench.reporter.plots.zone_map import HEADER_PX, MARGIN_PX, zone_map_png
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.captions import about_the_shots, sharpness_in_short

_TEMPLATES = Path(__file__).parent / "templates"


def page_text(report: Report, zone_map: bytes | None = None) -> str:
    """The page of a report as HTML.

    Parameters
    ----------
    report : Report
        What to show.
    zone_map : bytes, optional
        The zone map already drawn, as `zone_map_png` gives it; drawn anew where not given.

    Returns
    -------
    str
    """
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    with house_style():
        return environment.get_template("report.html").render(
            report=report,
            about=about_the_shots(report),
            answers=answers(report),
            zone_map=_zone_map_uri(zone_map or zone_map_png(report)),
            zone_map_spoken=_zone_map_in_words(report),
            sharpness=sharpness_section(report),
            focus=focus_section(report),
            colours=colours_section(report),
            light=light_section(report),
            dirt=dirt_section(report),
            glare=glare_section(report),
            assembly=assembly_section(report),
            size=size_section(report),
            trust=trust_section(report),
        )


def _zone_map_uri(zone_map: bytes) -> str:
    """The zone map without its header, which the page itself has."""
    picture = iio.imread(zone_map)[HEADER_PX:, MARGIN_PX:-MARGIN_PX]
    return f"data:image/png;base64,{base64.b64encode(iio.imwrite('<bytes>', picture, extension='.png')).decode()}"


def _zone_map_in_words(report: Report) -> str:
    parts = [f"{s.name}: {sharpness_in_short(report, s)}" for s in report.settings]
    return f"Zone map. {'; '.join(parts)}."
