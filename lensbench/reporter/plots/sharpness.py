"""Where it is sharp: every zone filled by its MTF50, with a set square whose legs show the two directions.

The set square stands as the target's own tiles do: one leg along the frame's radius, the other across it. Each
leg is as long, and coloured, as the sharpness of the edges that run its way, so an evenly sharp zone carries an
isosceles square and an astigmatic one a lean one.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from lensbench import frame
from lensbench.findings import Figure, Report, Setting, ZoneSharpness
from lensbench.formatting import brief
from lensbench.reporter.plots import style as hand
from lensbench.shot import reference_channel

_LONGEST_LEG = 0.1
"""The leg of the best figure on the scale, in half-diagonals of the frame."""


def sharpness_unit(report: Report) -> str:
    """The unit that maps are drawn in: lp/mm where the sensor's size is known, else cy/px."""
    return "lp/mm" if report.camera.pixel_pitch_um else "cy/px"


def per_cycle(report: Report) -> float:
    """One cycle a pixel in the unit that maps are drawn in."""
    return 1000 / report.camera.pixel_pitch_um if report.camera.pixel_pitch_um else 1.0


def zone_figure(zone: ZoneSharpness, unit: str) -> Figure:
    """A zone's MTF50 in the unit asked for."""
    return zone.mtf50_lp_mm if unit == "lp/mm" and zone.mtf50_lp_mm else zone.mtf50


def shown_channel(setting: Setting) -> str:
    """The channel that sharpness is shown in: green where there is one."""
    names = [zone.channel for zone in setting.sharpness.zones] if setting.sharpness else []
    return reference_channel(names) or "green"


def zone_figures(setting: Setting, unit: str, channel: str | None = None) -> dict[tuple[str, str], Figure]:
    """MTF50 by (zone, direction) in one channel, `shown_channel` unless told otherwise."""
    zones = setting.sharpness.zones if setting.sharpness else []
    channel = channel or shown_channel(setting)
    return {(z.zone, z.direction): zone_figure(z, unit) for z in zones if z.channel == channel}


def sharpness_ceiling(report: Report) -> float:
    """Where the report's scale of sharpness ends: a round number at or above its best figure."""
    unit = sharpness_unit(report)
    values = [f.value for setting in report.settings for f in zone_figures(setting, unit).values()]
    return hand.nice_ceiling(max(values)) if values and max(values) > 0 else 1.0


def draw_sharpness(axes: Axes, report: Report, setting: Setting, letters: float = 8.0) -> None:
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
    """
    size = report.camera.size_px
    unit, ceiling = sharpness_unit(report), sharpness_ceiling(report)
    figures = zone_figures(setting, unit)
    if not figures:
        return hand.leave_blank(axes, size)
    hand.open_frame(axes, size, rings=False)
    for zone in frame.ZONES:
        legs = figures.get((zone, "sagittal")), figures.get((zone, "tangential"))
        middle = figures.get((zone, "mean"))
        fill = hand.colour_of(middle.value / ceiling) if middle else hand.UNMEASURED
        patch = hand.zone_patch(zone, size, facecolor=fill, edgecolor=hand.PAPER, linewidth=1.2)
        axes.add_patch(patch)
        if any(legs):
            _draw_square(axes, zone, legs, ceiling, fill, size, letters)


def _draw_square(axes: Axes, zone: str, legs, ceiling: float, fill, size: tuple[int, int], letters: float) -> None:
    """A zone's set square, right angle towards the frame's centre, each half coloured by its own leg's figure."""
    anchor = np.array(hand.zone_anchor(zone, size))
    ways = _leg_directions(zone, anchor, size)
    longest = _LONGEST_LEG * frame.half_diagonal(size)
    spans = [way * longest * (leg.value / ceiling if leg else 0.0) for way, leg in zip(ways, legs, strict=True)]
    corner = anchor - (ways[0] * 0.5 + ways[1] * 0.33) * longest
    outline = hand.set_square(corner, *spans)
    axes.add_patch(
        Polygon(
            outline, closed=True, facecolor=hand.PAPER, edgecolor=hand.PAPER,
            linewidth=letters * 0.75, joinstyle="round", zorder=4,
        )
    )  # fmt: skip
    for leg, end in zip(legs, outline[1:], strict=True):
        if leg:
            line = {"solid_capstyle": "round", "zorder": 5}
            places = np.transpose([corner, end])
            axes.plot(*places, color=hand.INK, linewidth=letters * 0.52, **line)
            axes.plot(*places, color=hand.colour_of(leg.value / ceiling), linewidth=letters * 0.36, **line)
    ink = hand.ink_on(fill)
    _label(axes, (outline[0] + outline[1]) / 2, -ways[1], legs[0], ink, letters)
    _label(axes, outline[2], ways[1], legs[1], ink, letters)


def _label(axes: Axes, place: np.ndarray, way: np.ndarray, leg: Figure | None, ink: str, letters: float) -> None:
    """Write a leg's figure off a place, so far along a way that it just clears the leg's thickness."""
    if leg is None:
        return
    text = brief(leg)
    clearance = letters * (0.32 * len(text) * abs(way[0]) + 0.38 * abs(way[1]) + 0.6)
    axes.annotate(
        text, place, way * (1, -1) * clearance, textcoords="offset points",
        color=ink, fontsize=letters, ha="center", va="center_baseline", zorder=6,
    )  # fmt: skip


def _leg_directions(zone: str, anchor: np.ndarray, size: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """The way of the leg along the radius and of the one across it; upright in the centre, which has no radius.

    The second leg turns to the frame's upper or lower border, where a corner has most room for a number.
    """
    if zone == "centre":
        return np.array([1.0, 0.0]), np.array([0.0, -1.0])
    outward, around = frame.radial_axes(*anchor, size)
    to_border = around[1] * (anchor[1] - frame.centre_of(size)[1]) > 0
    return outward, around if to_border else -around
