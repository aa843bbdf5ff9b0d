"""Falloff against the distance from the middle, with the cos⁴ law beside it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.light import darkest_stops


def has_profile(setting: Setting) -> bool:
    """Whether there is a profile to draw."""
    return bool(setting.falloff and len(setting.falloff.profile) > 2)


def draw_profile(axes: Axes, report: Report, setting: Setting, letters: float = 8.0) -> None:
    """Draw one setting's falloff against h: the mean around the middle, and a band from lightest to darkest.

    Parameters
    ----------
    axes : Axes
        Bare axes; they get their two scales here.
    report : Report
        Whose scale is used, so that all settings compare.
    setting : Setting
        What to draw.
    letters : float
        Size of the letters in points.
    """
    profile = setting.falloff.profile
    h, stops = (np.array(v) for v in zip(*((step.h, step.stops.value) for step in profile), strict=True))
    lightest, darkest = zip(*((step.lightest, step.darkest) for step in profile), strict=True)
    _draw_scales(axes, darkest_stops(report), letters)
    hand.name_scale(axes, "stops", letters)
    axes.fill_between(h, lightest, darkest, color=hand.colour_of(0.75), alpha=0.45, linewidth=0, zorder=2)
    axes.plot(h, stops, color=hand.INK, linewidth=1.5, zorder=4)
    law = [(step.h, step.cos4_stops.value) for step in profile if step.cos4_stops]
    if law:
        axes.plot(*zip(*law, strict=True), color=hand.INK, linewidth=1.0, linestyle=(0, (4, 2)), zorder=3)
        axes.annotate(
            "cos⁴", law[-1], (-4, 5), textcoords="offset points", ha="right", va="bottom",
            fontsize=letters, path_effects=hand.halo(), zorder=5,
        )  # fmt: skip


def _draw_scales(axes: Axes, ends: float, letters: float) -> None:
    axes.set_xlim(0, 1)
    axes.set_ylim(ends, -0.05 * ends)
    label = {"fontsize": letters * 0.9, "color": hand.MUTED}
    for stops in np.arange(0, ends + 0.01, 0.5 if ends <= 3 else 1.0):
        axes.axhline(stops, color=hand.HAIRLINE, linewidth=0.5, zorder=0)
        axes.text(-0.015, stops, f"{stops:g}", ha="right", va="center_baseline", **label)
    for h in (0.0, 0.25, 0.5, 0.75, 1.0):
        axes.axvline(h, color=hand.HAIRLINE, linewidth=0.5, zorder=0)
    for h, name, side in ((0.0, "middle", "left"), (0.5, "half-way", "center"), (1.0, "corner", "right")):
        axes.text(h, ends * 1.03, name, ha=side, va="top", **label)
