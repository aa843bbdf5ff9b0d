"""Light in the dark tiles over the frame: every tile as a set square, the bluer the brighter it is."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Polygon

from lensbench import frame
from lensbench.findings import Report, Setting
from lensbench.formatting import brief
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import write_at
from lensbench.reporter.plots.frame_parts import open_frame, set_square, write_in_zone
from lensbench.reporter.plots.zone_map_key import colour_bar
from lensbench.reporter.values.light import brightest_dark

_SIDE = 0.05
"""Leg of a drawn tile over the half-diagonal."""


def has_glare(setting: Setting) -> bool:
    """Whether any dark tile was read."""
    return bool(setting.glare and setting.glare.tiles)


def draw_glare_key(drawing: Drawing, report: Report, left: float, top: float) -> None:
    """Draw the colour scale of the tiles and what an outline means, by inches from a sheet's top left corner."""
    colour_bar(drawing, style.SCALE.reversed(), brightest_dark(report), (left + 0.08, top + 0.02, 1.2, 0.09))
    traps = any(tile.light_trap for s in report.settings if s.glare for tile in s.glare.tiles)
    note = f"tile's light, % of the white around{'; outlined: light traps' if traps else ''}"
    write_at(drawing, left + 1.45, top + 0.11, note, fontsize=7, color=style.MUTED)


def draw_glare(axes: Axes, report: Report, setting: Setting, letters: float = 7.5) -> None:
    """Draw one setting's dark tiles, those that are light traps with an outline, and each zone's figure.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    report : Report
        Whose scale is used, so that all settings compare.
    setting : Setting
        What to draw.
    letters : float
        Size of the figures in points.
    """
    glare = setting.glare
    if glare is None:
        return
    size, ends = report.camera.size_px, brightest_dark(report)
    open_frame(axes, size)
    leg = _SIDE * frame.half_diagonal(size)
    for tile in glare.tiles:
        corner = np.array([tile.x - leg / 3, tile.y + leg / 3])
        square = set_square(corner, np.array([leg, 0.0]), np.array([0.0, -leg]))
        colour = style.colour_of(1 - tile.dark_percent.value / ends)
        outline = style.INK if tile.light_trap else "none"
        axes.add_patch(Polygon(square, closed=True, facecolor=colour, edgecolor=outline, linewidth=1.2, zorder=2))
    for zone in glare.zones:
        figure = zone.glare_percent or zone.dark_percent
        halo = style.halo(width=2.4)
        write_in_zone(
            axes, zone.zone, size, brief(figure), fontsize=letters, color=style.INK, path_effects=halo, zorder=8
        )
