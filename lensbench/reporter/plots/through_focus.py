"""Through focus: how sharp the centre and the corners get along the rail."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes

from lensbench import frame
from lensbench.findings import Focus, Report, Setting, ThroughFocus
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import legend_above
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.values.sharpness import per_cycle, sharpness_unit

_STYLES: dict[str, Any] = {
    "top-left": "solid",
    "top-right": (0, (5, 2)),
    "bottom-right": (0, (2, 1.5)),
    "bottom-left": (0, (1, 1)),
}


def draw_through_focus(axes: Axes, report: Report, setting: Setting) -> None:
    """Draw sharpness along the rail, of the centre and of the outermost zones.

    Parameters
    ----------
    axes : Axes
        Axes with scales.
    report : Report
        Whose unit is used.
    setting : Setting
        What to draw; nothing where it has no focus series.
    """
    lines = _outermost(setting.focus) if setting.focus else []
    if setting.focus is None or not lines:
        return
    per_unit = per_cycle(report)
    depth = setting.focus.depth_mm.value
    axes.axvspan(-depth, depth, facecolor=style.UNMEASURED, zorder=0)
    axes.axvline(0, color=style.MUTED, linewidth=0.5, zorder=1)
    for line in lines:
        ink, dashes = _look(line.zone)
        values = np.array(line.mtf50) * per_unit
        axes.plot(line.position_mm, values, "o-", color=ink, markersize=2, linewidth=0.4, alpha=0.7, zorder=2)
        axes.plot(
            line.curve_mm, np.array(line.curve_mtf50) * per_unit, color=ink, linewidth=1.3, linestyle=dashes,
            zorder=4, label=line.zone.split(" ")[-1].replace("-", " "),
        )  # fmt: skip
    positions = [position for line in lines for position in line.position_mm]
    axes.set_xlim(min(positions), max(positions))
    axes.set_ylim(0, nice_ceiling(max(max(line.mtf50) for line in lines) * per_unit))
    axes.set_ylabel(f"MTF50, {sharpness_unit(report)}")
    axes.set_xlabel("rail, mm from the centre's best focus; right: farther")
    legend_above(axes, 3)


def _look(zone: str) -> tuple[str, Any]:
    """Ink and style of a zone's line."""
    return (style.INK, "solid") if zone == "centre" else (style.SECOND_INK, _STYLES[zone.split(" ")[1]])


def _outermost(focus: Focus) -> list[ThroughFocus]:
    """The centre's line, and that of the outermost zone of each quarter."""
    by_zone = {line.zone: line for line in focus.through}
    lines = [by_zone["centre"]] if "centre" in by_zone else []
    for quarter in frame.QUARTERS:
        zones = [f"{ring} {quarter}" for ring in ("corner", "outer", "inner")]
        lines += [by_zone[zone] for zone in zones if zone in by_zone][:1]
    return lines
