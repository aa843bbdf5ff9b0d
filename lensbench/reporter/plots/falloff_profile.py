"""Falloff against the distance from the middle, with the cos⁴ law beside it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import legend_above
from lensbench.reporter.values.light import darkest_stops


def has_profile(setting: Setting) -> bool:
    """Whether there is a profile to draw."""
    return bool(setting.falloff and len(setting.falloff.profile) > 2)


def draw_profile(axes: Axes, report: Report, setting: Setting) -> None:
    """Draw one setting's falloff against h: the mean around the middle, shaded from lightest to darkest side.

    Parameters
    ----------
    axes : Axes
        Axes with scales.
    report : Report
        Whose scale is used, so that all settings compare.
    setting : Setting
        What to draw.
    """
    profile = setting.falloff.profile if setting.falloff else []
    h = np.array([step.h for step in profile])
    lightest, darkest = [step.lightest for step in profile], [step.darkest for step in profile]
    axes.fill_between(
        h, lightest, darkest, color=style.colour_of(0.75), alpha=0.45, linewidth=0, zorder=2,
        label="lightest to darkest side",
    )  # fmt: skip
    axes.plot(h, [step.stops.value for step in profile], color=style.INK, linewidth=1.5, zorder=4, label="mean")
    law = [(step.h, step.cos4_stops.value) for step in profile if step.cos4_stops]
    if law:
        line = style.DIRECTION_LINES["tangential"]
        axes.plot(*np.transpose(law), color=style.INK, linewidth=1.0, linestyle=line, zorder=3, label="cos⁴ law")
    ends = darkest_stops(report)
    axes.set_xlim(0, 1)
    axes.set_ylim(ends, -0.05 * ends)
    axes.set_xticks((0, 0.25, 0.5, 0.75, 1.0), ("middle", "", "half-way", "", "corner"))
    axes.yaxis.set_major_locator(MultipleLocator(0.5 if ends <= 3 else 1.0))
    axes.set_ylabel("falloff, stops")
    axes.set_xlabel("distance from the middle of the picture")
    legend_above(axes, 2)
