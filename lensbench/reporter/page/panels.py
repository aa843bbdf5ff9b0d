"""Panels: drawings on the page, each with its heading and caption."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing

from lensbench.findings import Report, Setting
from lensbench.reporter.plots.canvas import as_svg, axes_in, axes_with_scales, new_drawing

PANEL_IN = 3.6
"""How wide a panel is, in inches."""

_EDGE = 0.03
"""Room around a bare drawing for the thickness of its lines, in inches."""

_KEY = 0.3
"""Room for a key under a drawing, in inches."""

_SCALED_ASPECT = 1.45

_DrawsKey = Callable[[Drawing, float, float], None]
"""A function that draws a key on a sheet, by inches from its top left corner."""


class _DrawsSetting(Protocol):
    """A function that draws one setting of a report on axes."""

    def __call__(self, axes: Axes, report: Report, setting: Setting) -> None: ...


@dataclass(frozen=True)
class Panel:
    """A drawing on the page: its heading, the picture as SVG, and what it shows for those who can't see it."""

    title: str
    caption: str
    svg: Markup
    spoken: str


def bare_panel(
    draw: Callable[[Axes], None],
    title: str,
    caption: str,
    aspect: float,
    width: float = PANEL_IN,
    draw_key: _DrawsKey | None = None,
) -> Panel:
    """A drawing without scales, of the given width (inches) and width over height; its key below."""
    inner = width - 2 * _EDGE
    drawing = new_drawing(width, inner / aspect + 2 * _EDGE + (_KEY if draw_key else 0))
    draw(axes_in(drawing, _EDGE, _EDGE, inner, inner / aspect))
    if draw_key:
        draw_key(drawing, _EDGE, inner / aspect + 3 * _EDGE)
    return Panel(title, caption, Markup(as_svg(drawing)), _spoken(title, caption))


def scaled_panel(draw: Callable[[Axes], None], title: str, caption: str) -> Panel:
    """A drawing with scales, their labels and a legend."""
    drawing = new_drawing(PANEL_IN, PANEL_IN / _SCALED_ASPECT)
    draw(axes_with_scales(drawing))
    return Panel(title, caption, Markup(as_svg(drawing)), _spoken(title, caption))


def frame_panels(
    report: Report,
    wanted: Callable[[Setting], bool],
    draw: _DrawsSetting,
    in_short: Callable[[Setting], str],
    draw_key: Callable[[Drawing, Report, float, float], None] | None = None,
) -> list[Panel]:
    """A drawing of the frame for every setting that has something to show."""
    aspect = report.camera.size_px[0] / report.camera.size_px[1]
    key: _DrawsKey | None = None
    if draw_key is not None:
        key = partial(_with_report, draw_key, report)
    return [
        bare_panel(
            partial(draw, report=report, setting=setting), setting.name, in_short(setting), aspect, PANEL_IN, key
        )
        for setting in filter(wanted, report.settings)
    ]


def _with_report(
    draw_key: Callable[[Drawing, Report, float, float], None],
    report: Report,
    drawing: Drawing,
    left: float,
    top: float,
) -> None:
    draw_key(drawing, report, left, top)


def scaled_panels(
    report: Report,
    wanted: Callable[[Setting], bool],
    draw: _DrawsSetting,
    in_short: Callable[[Setting], str],
) -> list[Panel]:
    """A drawing with scales for every setting that has something to show."""
    return [
        scaled_panel(partial(draw, report=report, setting=setting), setting.name, in_short(setting))
        for setting in filter(wanted, report.settings)
    ]


def _spoken(title: str, caption: str) -> str:
    return f"{title}: {caption}" if title else caption
