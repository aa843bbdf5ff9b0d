"""Panels: the drawings on the page, one a setting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style as hand

PANEL_IN = 3.6
"""How wide a panel is, in inches."""

EDGE = 0.03
"""Room around a drawing for the thickness of its lines."""


@dataclass(frozen=True)
class Panel:
    """A drawing on the page: its heading, the picture as SVG, and what it shows for those who can't see it."""

    title: str
    caption: str
    svg: Markup
    spoken: str


def panels(
    report: Report,
    wanted: Callable[[Setting], bool],
    draw: Callable[[Axes, Report, Setting], None],
    in_short: Callable[[Setting], str],
    aspect: float | None = None,
    room: tuple[float, float] = (EDGE, EDGE),
) -> list[Panel]:
    """One panel a setting that has something to show, with `room` inches left and below for the scales."""
    aspect = aspect or report.camera.size_px[0] / report.camera.size_px[1]
    width = PANEL_IN - room[0] - EDGE
    drawn = []
    for setting in filter(wanted, report.settings):
        sheet = hand.new_drawing(PANEL_IN, width / aspect + room[1] + EDGE)
        draw(hand.axes_in(sheet, room[0], EDGE, width, width / aspect), report, setting)
        name, short = setting.name, in_short(setting)
        drawn.append(Panel(name, short, Markup(hand.as_svg(sheet)), f"{name}: {short}"))
    return drawn
