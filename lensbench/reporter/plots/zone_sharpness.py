"""Where it is sharp: every zone filled by its MTF50, with a set square whose legs show the two directions.

The set square stands as the target's own tiles do: one leg along the frame's radius, the other across it. Each
leg is as long, and coloured, as the sharpness of the edges that run its way, so an evenly sharp zone carries an
isosceles set square and an astigmatic one has unequal legs.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Figure, Report, Setting
from lensbench.formatting import brief
from lensbench.reporter.plots import style
from lensbench.reporter.plots.frame_parts import (
    leave_blank,
    open_frame,
    set_square,
    write_in_zone,
    zone_anchor,
    zone_patch,
)
from lensbench.reporter.values.sharpness import sharpness_ceiling, sharpness_unit, zone_figures

_LONGEST_LEG = 0.1
"""The leg of the best figure on the scale, in half-diagonals of the frame; chosen by eye."""

_Legs = tuple[Figure | None, Figure | None]


def draw_sharpness(axes: Axes, report: Report, setting: Setting, letters: float = 8.0, roomy: bool = True) -> None:
    """Draw one setting's zones, filled and with their set squares.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    report : Report
        Whose frame, unit and scale are used, so that all settings compare.
    setting : Setting
        What to draw.
    letters : float
        Size of the figures in points.
    roomy : bool
        Whether corners have room for a set square; they bear the mean of both directions otherwise, or what the
        only direction gives that was measured there, on a pale ground.
    """
    size = report.camera.size_px
    ceiling = sharpness_ceiling(report)
    figures = zone_figures(setting, sharpness_unit(report))
    if not figures:
        return leave_blank(axes, size)
    open_frame(axes, size, rings=False)
    for zone in frame.ZONES:
        legs = figures.get((zone, "sagittal")), figures.get((zone, "tangential"))
        middle = figures.get((zone, "mean"))
        fill = style.colour_of(middle.value / ceiling) if middle else style.UNMEASURED
        axes.add_patch(zone_patch(zone, size, facecolor=fill, edgecolor=style.PAPER, linewidth=1.2))
        known = middle or legs[0] or legs[1]
        if known and not roomy and zone.startswith("corner"):
            write_in_zone(axes, zone, size, brief(known), color=style.ink_on(fill), fontsize=letters, zorder=6)
        elif any(legs):
            outline, sides = _square(zone, legs, ceiling, size)
            _draw_square(axes, outline, legs, ceiling, letters)
            look = {"color": style.ink_on(fill), "fontsize": letters}
            _label(axes, (outline[0] + outline[1]) / 2, -sides[1], legs[0], look)
            _label(axes, outline[2], sides[1], legs[1], look)


def _square(zone: str, legs: _Legs, ceiling: float, size: tuple[int, int]) -> tuple[NDArray, NDArray]:
    """A zone's set square, its right angle to the frame's centre: corners (3, 2), directions of legs (2, 2)."""
    anchor = np.array(zone_anchor(zone, size))
    ways = leg_directions(zone, anchor, size)
    longest = _LONGEST_LEG * frame.half_diagonal(size)
    spans = [way * longest * (leg.value / ceiling if leg else 0.0) for way, leg in zip(ways, legs, strict=True)]
    corner = anchor - (ways[0] * 0.5 + ways[1] * 0.33) * longest
    return set_square(corner, *spans), ways


def _draw_square(axes: Axes, outline: NDArray, legs: _Legs, ceiling: float, letters: float) -> None:
    """The set square on paper, each leg coloured by its own figure."""
    paper: dict[str, Any] = {"facecolor": style.PAPER, "edgecolor": style.PAPER, "joinstyle": "round", "zorder": 4}
    axes.add_patch(Polygon(outline, closed=True, linewidth=letters * 0.75, **paper))
    for leg, end in zip(legs, outline[1:], strict=True):
        if leg:
            line: dict[str, Any] = {"solid_capstyle": "round", "zorder": 5}
            ends = np.transpose([outline[0], end])
            axes.plot(*ends, color=style.INK, linewidth=letters * 0.52, **line)
            axes.plot(*ends, color=style.colour_of(leg.value / ceiling), linewidth=letters * 0.36, **line)


def _label(axes: Axes, position: NDArray, way: NDArray, leg: Figure | None, look: dict[str, Any]) -> None:
    """Write a leg's figure off a position, so far along a direction that it just clears the leg's thickness."""
    if leg is None:
        return
    text = brief(leg)
    clearance = look["fontsize"] * (0.32 * len(text) * abs(way[0]) + 0.38 * abs(way[1]) + 0.6)
    axes.annotate(
        text, (position[0], position[1]), way * (1, -1) * clearance, textcoords="offset points",
        ha="center", va="center_baseline", zorder=6, **look,
    )  # fmt: skip


def leg_directions(zone: str, anchor: NDArray, size: tuple[int, int]) -> NDArray:
    """Unit vectors of the leg along the radius and of the one across it; upright in the centre, without a radius.

    The second leg turns to the frame's upper or lower border, where a corner has most room for a number.
    """
    if zone == "centre":
        return np.array([[1.0, 0.0], [0.0, -1.0]])
    outward, around = frame.radial_axes(anchor[0], anchor[1], size)
    to_border = around[1] * (anchor[1] - frame.centre_of(size)[1]) > 0
    return np.array([outward, around if to_border else -around])
