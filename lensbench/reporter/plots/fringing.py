"""Where colours land: arrows from green's place to red's and blue's, drawn many times their length."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import FancyArrowPatch

from lensbench import frame
from lensbench.findings import Report, Setting, TileFringing
from lensbench.reporter.plots import style as hand

_MOST_TILES = 90
"""More arrows than these are thinned to every other tile, as on a chessboard."""

_LONGEST_ARROW = 0.16
"""The report's longest arrow, in half-diagonals of the frame."""

_LEAST_PX = 0.5
"""Fringing below this shows in no picture, and is not blown up to look as if it did."""


def arrow_scale(report: Report) -> float:
    """How many times their length all arrows of a report are drawn: a round number that fits the longest."""
    lengths = [
        np.hypot(shift.dx.value, shift.dy.value)
        for setting in report.settings
        for tile in _tiles(setting)
        for shift in (tile.red, tile.blue)
        if shift
    ]
    longest = max(float(np.percentile(lengths, 99)) if lengths else 0.0, _LEAST_PX)
    return hand.nice_floor(_LONGEST_ARROW * frame.half_diagonal(report.camera.size_px) / longest)


def draw_fringing(axes: Axes, report: Report, setting: Setting, line: float = 1.0) -> None:
    """Draw one setting's lateral colour, with an arrow of one pixel's length as the key.

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
    tiles = _tiles(setting)
    if not tiles:
        return hand.leave_blank(axes, report.camera.size_px)
    hand.open_frame(axes, report.camera.size_px)
    scale = arrow_scale(report)
    if len(tiles) > _MOST_TILES:
        tiles = [tile for tile in tiles if (tile.column + tile.row) % 2 == 0]
    for channel in ("red", "blue"):
        shown = [(tile, getattr(tile, channel)) for tile in tiles if getattr(tile, channel)]
        if shown:
            places = np.array([(tile.x, tile.y) for tile, _ in shown])
            shifts = np.array([(shift.dx.value, shift.dy.value) for _, shift in shown]) * scale
            _arrows(axes, places, shifts, channel, line)
    places = np.array([(tile.x, tile.y) for tile in tiles])
    axes.plot(*places.T, ".", color=hand.INK, markersize=line * 1.6, markeredgewidth=0, zorder=6)


def _arrows(axes: Axes, places: np.ndarray, shifts: np.ndarray, channel: str, line: float) -> None:
    """Arrows in a channel's ink; red's heads are full and blue's open, so that they differ in grey too."""
    style = "-|>,head_length=0.34,head_width=0.14" if channel == "red" else "->,head_length=0.34,head_width=0.19"
    # An arrow shorter than its head says nothing but that there is hardly any fringing: its tile's dot does.
    least = 0.015 * np.hypot(*np.diff([axes.get_xlim(), axes.get_ylim()]).ravel()) / 2
    for place, shift in zip(places, shifts, strict=True):
        if np.hypot(*shift) < least:
            continue
        arrow = FancyArrowPatch(
            place, place + shift, arrowstyle=style, mutation_scale=9 * line, color=hand.COLOURS[channel],
            linewidth=line, shrinkA=0, shrinkB=0, capstyle="butt", joinstyle="miter", zorder=5,
        )  # fmt: skip
        axes.add_artist(arrow)


def _tiles(setting: Setting) -> list[TileFringing]:
    return setting.fringing.tiles if setting.fringing else []
