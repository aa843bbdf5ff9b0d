"""The page: report.html, one file that opens anywhere, without a network, and prints well."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence

import imageio.v3 as iio
from markupsafe import Markup

from lensbench.findings import Report
from lensbench.reporter.page.goals import goals_table
from lensbench.reporter.page.live import live_map
from lensbench.reporter.page.sections.assembly import assembly_section
from lensbench.reporter.page.sections.colours import colours_section
from lensbench.reporter.page.sections.dirt import dirt_section
from lensbench.reporter.page.sections.focus import focus_section
from lensbench.reporter.page.sections.glow import glow_section
from lensbench.reporter.page.sections.light import glare_section, light_section
from lensbench.reporter.page.sections.sharpness import sharpness_section
from lensbench.reporter.page.sections.size import size_section
from lensbench.reporter.page.sections.trust import trust_section
from lensbench.reporter.page.shell import environment, security_policy, text_of
from lensbench.reporter.plots.style import house_style
from lensbench.reporter.plots.zone_map import zone_map_margins_px, zone_map_png
from lensbench.reporter.tile_view import TileView
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.captions import about_the_shots, sharpness_in_short
from lensbench.reporter.words.next_steps import next_steps

_SCRIPTS = ("start", "map", "details", "end")
"""The script's parts, in this order one text."""


def page_text(report: Report, zone_map: bytes | None = None, views: Sequence[TileView] = ()) -> str:
    """The page of a report as HTML.

    Parameters
    ----------
    report : Report
        What to show.
    zone_map : bytes, optional
        The zone map already drawn, as `zone_map_png` gives it; drawn anew where not given.
    views : sequence of TileView
        Pictures of the target's tiles, as far as they are at hand.

    Returns
    -------
    str
    """
    style, script = text_of("report.css"), "".join(text_of(f"script/{name}.js") for name in _SCRIPTS)
    live = live_map(report, views)
    with house_style():
        return (
            environment()
            .get_template("report.html")
            .render(
                report=report,
                title=f"{report.build.name} on the bench",
                policy=security_policy(style, script),
                style=Markup(style),
                script=Markup(script),
                live=_as_data(live) if live else None,
                goals=goals_table(report),
                next_steps=next_steps(report),
                about=about_the_shots(report),
                answers=answers(report),
                zone_map=_zone_map_uri(report, zone_map or zone_map_png(report)),
                zone_map_spoken=_zone_map_in_words(report),
                sharpness=sharpness_section(report),
                focus=focus_section(report),
                colours=colours_section(report),
                light=light_section(report),
                dirt=dirt_section(report),
                glare=glare_section(report),
                glow=glow_section(report),
                assembly=assembly_section(report),
                size=size_section(report),
                trust=trust_section(report),
            )
        )


def _as_data(plain: dict) -> Markup:
    """Plain values as JSON that can't end the element which it stands in."""
    text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


def _zone_map_uri(report: Report, zone_map: bytes) -> str:
    """The zone map without its head, which the page itself has."""
    head, margin = zone_map_margins_px(report)
    picture = iio.imread(zone_map, mode="RGB")[head:, margin:-margin]
    packed = iio.imwrite("<bytes>", picture, extension=".webp", lossless=True)
    return f"data:image/webp;base64,{base64.b64encode(packed).decode()}"


def _zone_map_in_words(report: Report) -> str:
    parts = [f"{s.name}: {sharpness_in_short(report, s)}" for s in report.settings]
    return f"Zone map. {'; '.join(parts)}."
