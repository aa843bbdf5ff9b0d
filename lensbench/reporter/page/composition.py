"""The page: report.html, one file that opens anywhere, without a network, and prints well."""

from __future__ import annotations

import base64
import functools
from pathlib import Path

import imageio.v3 as iio
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.axes import Axes

from lensbench.findings import Report, Setting
from lensbench.reporter.page.drawings import EDGE, PANEL_IN, Panel, panels
from lensbench.reporter.page.focus_section import focus_parts, repeats_parts
from lensbench.reporter.page.light_section import light_parts
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.centres import ASPECT, draw_centres
from lensbench.reporter.plots.curves import draw_curves, has_curves
from lensbench.reporter.plots.distortion import bending_scale, draw_bending
from lensbench.reporter.plots.fringing import arrow_scale, draw_fringing
from lensbench.reporter.plots.lean import ASPECT as LEAN_ASPECT
from lensbench.reporter.plots.lean import draw_lean, lean_in_words, leans_of
from lensbench.reporter.plots.light import draw_light
from lensbench.reporter.plots.marks_by_aperture import draw_stopping, shows_stopping
from lensbench.reporter.plots.marks_on_glass import draw_face, face_in_short
from lensbench.reporter.plots.sharpness_by_radius import draw_reach
from lensbench.reporter.plots.zone_map import HEADER_PX, MARGIN_PX, zone_map_png
from lensbench.reporter.tables import page as page_tables
from lensbench.reporter.tables.geometry import finer_size, straightness
from lensbench.reporter.tables.limits import finer_sharpness
from lensbench.reporter.words import geometry as explanations
from lensbench.reporter.words import sentences
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.fringing import fringing_in_short, fringing_in_words
from lensbench.reporter.words.limits import limits_in_words, minds_in_words
from lensbench.verdicts.dirt import CAUTIONS, FACES

_TEMPLATES = Path(__file__).parent / "templates"


def page_text(report: Report, zone_map: bytes | None = None) -> str:
    """The page of a report as HTML.

    Parameters
    ----------
    report : Report
        What to show.
    zone_map : bytes, optional
        The zone map already drawn, as `zone_map_png` gives it; drawn anew where not given.
    """
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    with hand.house_style():
        return environment.get_template("report.html").render(
            report=report,
            about=sentences.about_the_shots(report),
            answers=answers(report),
            zone_map=_zone_map_uri(zone_map or zone_map_png(report)),
            zone_map_spoken=_zone_map_in_words(report),
            reach=panels(
                report,
                _has_sharpness,
                draw_reach,
                functools.partial(sentences.sharpness_in_short, report),
                aspect=1.6,
                room=(0.3, 0.22),
            ),
            curves=panels(
                report,
                has_curves,
                draw_curves,
                lambda setting: "contrast from coarse to fine; full line sagittal, broken tangential",
                aspect=1.6,
                room=(0.38, 0.22),
            ),
            focus=focus_parts(report),
            repeats=repeats_parts(report),
            bending=_bending(report),
            colours=panels(report, _has_fringing, _large_fringing, fringing_in_short),
            arrow_scale=f"{arrow_scale(report):.0f}",
            light=panels(report, _has_light, _large_light, sentences.light_in_short),
            lit=light_parts(report),
            wiping=_wiping(report),
            numbered_at=_numbered_at(report),
            stopping=_stopping(report),
            dirt=report.verdict.dirt if report.verdict else None,
            cautions=CAUTIONS,
            assembly=report.verdict.assembly if report.verdict else None,
            centres=_centres(report),
            leans=_leans(report),
            straightness=straightness(report),
            finer_size=finer_size(report),
            geometry_words=explanations.geometry_in_words(report.geometry),
            fringing_words=fringing_in_words(report),
            tables=page_tables.all_tables(report),
            finer=finer_sharpness(report),
            limits_words=limits_in_words(report),
            minds=minds_in_words(report),
            shots=page_tables.shots_by_setting(report),
        )


def _zone_map_uri(zone_map: bytes) -> str:
    """The zone map without its header, which the page itself has."""
    picture = iio.imread(zone_map)[HEADER_PX:, MARGIN_PX:-MARGIN_PX]
    return f"data:image/png;base64,{base64.b64encode(iio.imwrite('<bytes>', picture, extension='.png')).decode()}"


def _zone_map_in_words(report: Report) -> str:
    parts = [f"{s.name}: {sentences.sharpness_in_short(report, s)}" for s in report.settings]
    return f"Zone map. {'; '.join(parts)}."


def _has_sharpness(setting: Setting) -> bool:
    return bool(setting.sharpness and setting.sharpness.edges)


def _has_fringing(setting: Setting) -> bool:
    return bool(setting.fringing and setting.fringing.tiles)


def _has_light(setting: Setting) -> bool:
    return setting.falloff is not None or setting.dust is not None


def _large_fringing(axes: Axes, report: Report, setting: Setting) -> None:
    draw_fringing(axes, report, setting, line=0.9)


def _large_light(axes: Axes, report: Report, setting: Setting) -> None:
    draw_light(axes, report, setting, letters=7.5)


def _bending(report: Report) -> Panel | None:
    """How straight lines bend, if any bending was measured."""
    distortion = report.geometry.distortion if report.geometry else None
    if distortion is None:
        return None
    width, height = report.camera.size_px
    sheet = hand.new_drawing(PANEL_IN, (PANEL_IN - 2 * EDGE) * height / width + 2 * EDGE)
    axes = hand.axes_in(sheet, EDGE, EDGE, PANEL_IN - 2 * EDGE, (PANEL_IN - 2 * EDGE) * height / width)
    draw_bending(axes, report, distortion)
    caption = f"A straight grid, bent {bending_scale(distortion):g} times as much as the lens does"
    return Panel("", caption, Markup(hand.as_svg(sheet)), f"{caption}: {distortion.shape}")


def _centres(report: Report) -> Panel | None:
    """Where the optical centres lie, if any shows."""
    assembly = report.verdict.assembly if report.verdict else None
    if assembly is None or not assembly.centres:
        return None
    height = 2.6
    sheet = hand.new_drawing(height * ASPECT, height)
    inner = height - 2 * EDGE
    draw_centres(hand.axes_in(sheet, EDGE, EDGE, inner * ASPECT, inner), assembly)
    return Panel(
        "", "Around the frame's centre, as seen in the picture", Markup(hand.as_svg(sheet)), assembly.text
    )


def _leans(report: Report) -> list[Panel]:
    """How sensor, lens and sheet stood, from above and from the side, if the report says so."""
    leans = leans_of(report)
    width = 3.0
    drawn = []
    for lean in leans:
        sheet = hand.new_drawing(width, width / LEAN_ASPECT)
        draw_lean(hand.axes_in(sheet, 0, 0, width, width / LEAN_ASPECT), lean, leans)
        said = lean_in_words(lean, leans)
        drawn.append(Panel(f"Seen {lean.view}.", said, Markup(hand.as_svg(sheet)), f"Seen {lean.view}: {said}"))
    return drawn


def _most_marked(report: Report) -> Setting | None:
    """The setting that shows most marks, the first of several; None where none shows any."""
    marked = [setting for setting in report.settings if setting.dust and setting.dust.marks]
    return max(marked, key=lambda setting: len(setting.dust.marks), default=None)


def _numbered_at(report: Report) -> str:
    """The setting whose numbers the marks bear in the pictures of where they lie; empty without marks."""
    setting = _most_marked(report)
    return setting.name if setting else ""


def _wiping(report: Report) -> list[Panel]:
    """The four small pictures of where the marks lie, for the setting that shows most of them."""
    setting = _most_marked(report)
    if setting is None:
        return []
    drawn = []
    for face in FACES:
        sheet = hand.new_drawing(1.8, 1.8)
        draw_face(hand.axes_in(sheet, 0.02, 0.02, 1.76, 1.76), report, setting, face)
        short = face_in_short(setting, face)
        drawn.append(Panel(face, short, Markup(hand.as_svg(sheet)), f"Places of the marks {face}: {short}."))
    return drawn


def _stopping(report: Report) -> Panel | None:
    """How deep the marks are at each aperture, where they were seen at several."""
    if not shows_stopping(report):
        return None
    sheet = hand.new_drawing(PANEL_IN, 2.5)
    draw_stopping(hand.axes_in(sheet, 0.4, EDGE, PANEL_IN - 0.4 - 0.15, 2.5 - 0.26 - EDGE), report)
    caption = "Depth of each mark by f-number: full lines sensor, broken lens, dotted light panel, thin not told"
    return Panel("", caption, Markup(hand.as_svg(sheet)), f"{caption}; the figures stand in the table.")
