"""How sharpness goes from the middle to the corner: every edge as a dot, sagittal and tangential as lines."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.sharpness import per_cycle, sharpness_ceiling, sharpness_unit, shown_channel

_LOOKS = {"sagittal": ("solid", 0.85), "tangential": ((0, (4, 2)), 0.25)}
"""Line style of each direction, and where on the scale its colour lies."""

_STEPS = np.linspace(0, 1, 9)
_FEWEST = 3


def draw_reach(axes: Axes, report: Report, setting: Setting, letters: float = 8.0) -> None:
    """Draw one setting's MTF50 against h, on the scale of the whole report.

    Parameters
    ----------
    axes : Axes
        Bare axes; they get their two scales here.
    report : Report
        Whose unit and scale are used, so that all settings compare.
    setting : Setting
        What to draw.
    letters : float
        Size of the letters in points.
    """
    per_unit = per_cycle(report)
    _draw_scales(axes, _ceiling(report, per_unit), letters)
    hand.name_scale(axes, f"MTF50, {sharpness_unit(report)}", letters)
    for direction, (style, share) in _LOOKS.items():
        h, value = _edges(setting, direction, per_unit)
        colour = hand.colour_of(share)
        face = colour if direction == "sagittal" else "none"
        axes.plot(h, value, "o", color=colour, markersize=2, markerfacecolor=face, markeredgewidth=0.5, zorder=2)
        middle, typical = _typical(h, value)
        if len(middle) == 0:
            continue
        axes.plot(middle, typical, color=hand.INK, linewidth=1.3, linestyle=style, zorder=4)
        above = direction == "sagittal"
        axes.annotate(
            direction, (middle[-1], typical[-1]), (0, 6 if above else -6), textcoords="offset points",
            ha="right", va="bottom" if above else "top", fontsize=letters, path_effects=hand.halo(), zorder=5,
        )  # fmt: skip


def _edges(setting: Setting, direction: str, per_unit: float) -> tuple[NDArray, NDArray]:
    """H and MTF50 of the edges used in one direction."""
    edges = setting.sharpness.edges if setting.sharpness else []
    channel = shown_channel(setting)
    kept = [e for e in edges if e.used and e.mtf50 and e.direction == direction and e.channel == channel]
    return np.array([e.h for e in kept]), np.array([e.mtf50.value for e in kept]) * per_unit


def _typical(h: NDArray, value: NDArray) -> tuple[NDArray, NDArray]:
    """The median in steps of h, where a step holds enough edges."""
    step = np.digitize(h, _STEPS)
    full = [k for k in range(1, len(_STEPS) + 1) if np.count_nonzero(step == k) >= _FEWEST]
    middle = np.array([np.median(h[step == k]) for k in full])
    return middle, np.array([np.median(value[step == k]) for k in full])


def _ceiling(report: Report, per_unit: float) -> float:
    """Where the scale ends: above all zones, and all but the odd edge."""
    edges = [_edges(setting, direction, per_unit)[1] for setting in report.settings for direction in _LOOKS]
    values = np.concatenate(edges) if edges else np.empty(0)
    highest = float(np.percentile(values, 99)) if len(values) else 0.0
    return max(sharpness_ceiling(report), hand.nice_ceiling(highest) if highest > 0 else 0.0)


def _draw_scales(axes: Axes, ceiling: float, letters: float) -> None:
    axes.set_xlim(0, 1)
    axes.set_ylim(0, ceiling)
    label = {"fontsize": letters * 0.9, "color": hand.MUTED}
    for value in np.linspace(0, ceiling, 5):
        axes.axhline(value, color=hand.HAIRLINE, linewidth=0.5, zorder=0)
        axes.text(-0.015, value, f"{value:g}", ha="right", va="center_baseline", **label)
    ends = [0.0, *(end for end in frame.RINGS.values() if end < 1), 1.0]
    for ring, start, end in zip(frame.RINGS, ends[:-1], ends[1:], strict=True):
        axes.axvline(start, color=hand.HAIRLINE, linewidth=0.5, zorder=0)
        axes.text((start + end) / 2, -0.04 * ceiling, ring, ha="center", va="top", **label)
