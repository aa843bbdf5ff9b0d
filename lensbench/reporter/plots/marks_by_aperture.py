"""What shows as the iris closes: the depth of every mark against the f-number."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

from lensbench.findings import Report
from lensbench.reporter.plots import style
from lensbench.reporter.values.dirt import NUMBERED_MARKS, depth_at, dirt_of, stopped_settings
from lensbench.verdicts.dirt import LENS, PANEL, SENSOR

_LINES: dict[str, Any] = {SENSOR: "solid", LENS: (0, (4, 2)), PANEL: (0, (1, 1.5))}
"""How the lines of marks are drawn by what they lie on; others are thin and full."""


def draw_marks_by_aperture(axes: Axes, report: Report) -> None:
    """Draw the depths of the marks against the f-number, both on logarithmic scales.

    Parameters
    ----------
    axes : Axes
        Axes with scales.
    report : Report
        Whose marks are drawn, each from the widest aperture that shows it; there is one at least.
    """
    dirt = dirt_of(report)
    axes.set_xscale("log")
    axes.set_yscale("log")
    for number, mark in enumerate(dirt.marks if dirt else [], start=1):
        points = [(report.settings[s.setting].f_number, abs(depth_at(report, s).value)) for s in mark.sightings]
        points = [(f_number, depth) for f_number, depth in points if f_number is not None]
        if not points:
            continue
        f_numbers, depths = zip(*points, strict=True)
        line, width = _look(mark.lies_on)
        axes.plot(f_numbers, depths, color=style.INK, linewidth=width, linestyle=line, marker="o", markersize=2.5)
        if number <= NUMBERED_MARKS:
            axes.annotate(
                str(number), (f_numbers[-1], depths[-1]), (4, 0), textcoords="offset points",
                va="center_baseline", fontsize=7.2, path_effects=style.halo(), zorder=5,
            )  # fmt: skip
    _set_scales(axes, [f for s in stopped_settings(report) if (f := report.settings[s].f_number) is not None])


def _look(place: str) -> tuple[Any, float]:
    """Style and width of the line of a mark, by what it lies on."""
    line = next((_LINES[part] for part in _LINES if part in place and " or " not in place), "solid")
    return line, 1.0 if place in (SENSOR, PANEL) or LENS in place else 0.6


def _set_scales(axes: Axes, f_numbers: list[float]) -> None:
    axes.set_xlim(min(f_numbers) / 1.1, max(f_numbers) * 1.15)
    axes.set_xticks(f_numbers, [f"f/{f_number:g}" for f_number in f_numbers])
    axes.yaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda depth, _: f"{depth:g} %"))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_minor_locator(NullLocator())
    axes.set_ylabel("depth, % of the light around")
