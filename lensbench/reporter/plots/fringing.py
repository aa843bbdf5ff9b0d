"""Where colours land: arrows from green's place to red's and blue's, many times enlarged."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import FancyArrowPatch

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.plots.frame_parts import leave_blank, open_frame
from lensbench.reporter.values.fringing import arrow_scale, tiles_of

_MOST_TILES = 90
"""More arrows than these are thinned to every other tile, as on a chessboard."""


def draw_fringing(axes: Axes, report: Report, setting: Setting, line: float = 1.0) -> None:
    """Draw one setting's lateral colour.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    report : Report
        Whose scale is used, so that all settings compare.
    setting : Setting
        What to draw.
    line : float
        Width of the arrows' shafts in points.
    """
    tiles = tiles_of(setting)
    if not tiles:
        return leave_blank(axes, report.camera.size_px)
    open_frame(axes, report.camera.size_px)
    scale = arrow_scale(report)
    if len(tiles) > _MOST_TILES:
        tiles = [tile for tile in tiles if (tile.column + tile.row) % 2 == 0]
    for channel in ("red", "blue"):
        shown = [(tile, getattr(tile, channel)) for tile in tiles if getattr(tile, channel)]
        if shown:
            positions = np.array([(tile.x, tile.y) for tile, _ in shown])
            shifts = np.array([(shift.dx.value, shift.dy.value) for _, shift in shown]) * scale
            _arrows(axes, positions, shifts, channel, line)
    positions = np.array([(tile.x, tile.y) for tile in tiles])
    axes.plot(*positions.T, ".", color=style.INK, markersize=line * 1.6, markeredgewidth=0, zorder=6)


def _arrows(axes: Axes, positions: np.ndarray, shifts: np.ndarray, channel: str, line: float) -> None:
    """Arrows in a channel's ink; red's heads are full and blue's open, so that they differ in grey too."""
    head = "-|>,head_length=0.34,head_width=0.14" if channel == "red" else "->,head_length=0.34,head_width=0.19"
    # An arrow shorter than its head says nothing but that there is hardly any fringing: its tile's dot does.
    least = 0.015 * np.hypot(*np.diff([axes.get_xlim(), axes.get_ylim()]).ravel()) / 2
    for position, shift in zip(positions, shifts, strict=True):
        if np.hypot(*shift) < least:
            continue
        arrow = FancyArrowPatch(
            position, position + shift, arrowstyle=head, mutation_scale=9 * line, color=style.COLOURS[channel],
            linewidth=line, shrinkA=0, shrinkB=0, capstyle="butt", joinstyle="miter", zorder=5,
        )  # fmt: skip
        axes.add_artist(arrow)
