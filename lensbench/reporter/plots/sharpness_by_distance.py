"""How sharpness goes from the middle to the corner: every edge as a dot, sagittal and tangential as lines."""

from __future__ import annotations

import itertools

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import legend_above
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.values.sharpness import per_cycle, sharpness_ceiling, sharpness_unit, shown_channel

_DOT_COLOURS = {"sagittal": style.colour_of(0.85), "tangential": style.colour_of(0.25)}

_STEPS = np.linspace(0, 1, 9)
_FEWEST = 3
"""The line is the median in so wide steps of h, where a step holds so many edges."""


def draw_sharpness_by_distance(axes: Axes, report: Report, setting: Setting) -> None:
    """Draw one setting's MTF50 against h, on the scale of the whole report.

    Parameters
    ----------
    axes : Axes
        Axes with scales.
    report : Report
        Whose unit and scale are used, so that all settings compare.
    setting : Setting
        What to draw.
    """
    per_unit = per_cycle(report)
    for direction, colour in _DOT_COLOURS.items():
        h, value = _edges(setting, direction, per_unit)
        face = colour if direction == "sagittal" else "none"
        axes.plot(h, value, "o", color=colour, markersize=2, markerfacecolor=face, markeredgewidth=0.5, zorder=2)
        line = style.DIRECTION_LINES[direction]
        axes.plot(
            *_medians(h, value), color=style.INK, linewidth=1.3, linestyle=line, zorder=4, label=direction
        )  # fmt: skip
    axes.set_xlim(0, 1)
    axes.set_ylim(0, _ceiling(report, per_unit))
    _name_rings(axes)
    axes.set_ylabel(f"MTF50, {sharpness_unit(report)}")
    axes.set_xlabel("distance from the middle of the picture, by rings of zones")
    legend_above(axes, 2)


def _name_rings(axes: Axes) -> None:
    """Lines where the rings of zones begin, their names between."""
    ends = [0.0, *(end for end in frame.RINGS.values() if end < 1), 1.0]
    axes.set_xticks(ends, [""] * len(ends))
    axes.set_xticks([(start + end) / 2 for start, end in itertools.pairwise(ends)], minor=True)
    axes.set_xticklabels(frame.RINGS, minor=True)
    axes.tick_params(axis="x", which="minor", length=0)


def _edges(setting: Setting, direction: str, per_unit: float) -> tuple[NDArray, NDArray]:
    """H and MTF50 of the edges used in one direction."""
    edges = setting.sharpness.edges if setting.sharpness else []
    channel = shown_channel(setting)
    kept = [
        (edge.h, edge.mtf50.value * per_unit)
        for edge in edges
        if edge.used and edge.mtf50 and edge.direction == direction and edge.channel == channel
    ]
    h, value = np.array(kept).reshape(-1, 2).T
    return h, value


def _medians(h: NDArray, value: NDArray) -> tuple[NDArray, NDArray]:
    """The median in steps of h, where a step holds enough edges."""
    step = np.digitize(h, _STEPS)
    full = [k for k in range(1, len(_STEPS) + 1) if np.count_nonzero(step == k) >= _FEWEST]
    middle = np.array([np.median(h[step == k]) for k in full])
    return middle, np.array([np.median(value[step == k]) for k in full])


def _ceiling(report: Report, per_unit: float) -> float:
    """Where the scale ends: above all zones, and all but the odd edge."""
    edges = [_edges(setting, direction, per_unit)[1] for setting in report.settings for direction in _DOT_COLOURS]
    values = np.concatenate(edges) if edges else np.empty(0)
    highest = float(np.percentile(values, 99)) if len(values) else 0.0
    return max(sharpness_ceiling(report), nice_ceiling(highest) if highest > 0 else 0.0)
