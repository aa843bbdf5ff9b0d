"""What shows as the iris closes: the depth of every mark against the f-number."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from lensbench.findings import Figure, Report, Sighting
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.light import NUMBERED_MARKS
from lensbench.verdicts.dirt import LENS, PANEL, SENSOR

LINES = {SENSOR: "solid", LENS: (0, (4, 2)), PANEL: (0, (1, 1.5))}
"""How the lines of marks are drawn by what they lie on; others are thin and full."""


def stopped_settings(report: Report) -> list[int]:
    """Numbers of the settings, in rising f-number, through which the marks were followed."""
    dirt = report.verdict.dirt if report.verdict else None
    if dirt is None or not dirt.marks:
        return []
    first = report.settings[dirt.marks[0].sightings[0].setting]
    return [
        number
        for number, setting in enumerate(report.settings)
        if setting.dust is not None
        and setting.f_number is not None
        and (setting.lens_turn_deg, setting.setup) == (first.lens_turn_deg, first.setup)
    ]


def shows_stopping(report: Report) -> bool:
    """Whether marks were looked for at several f-numbers."""
    return len(stopped_settings(report)) > 1


def depth_at(report: Report, sighting: Sighting) -> Figure:
    """The depth of a mark where it was seen."""
    return report.settings[sighting.setting].dust.marks[sighting.mark].depth_percent


def draw_stopping(axes: Axes, report: Report, letters: float = 8.0) -> None:
    """Draw the depths of the marks against the f-number, both in equal ratios.

    Parameters
    ----------
    axes : Axes
        Bare axes; they get their two scales here.
    report : Report
        Whose marks are drawn, each from the widest aperture that shows it.
    letters : float
        Size of the letters in points.
    """
    lines = []
    for mark in report.verdict.dirt.marks:
        seen = [s for s in mark.sightings if report.settings[s.setting].f_number is not None]
        numbers = [report.settings[s.setting].f_number for s in seen]
        depths = [abs(depth_at(report, s).value) for s in seen]
        if seen:
            lines.append((mark.place, np.array(numbers), np.array(depths)))
    f_numbers = [report.settings[number].f_number for number in stopped_settings(report)]
    _draw_scales(axes, f_numbers, np.concatenate([depths for *_, depths in lines]), letters)
    for number, (place, numbers, depths) in enumerate(lines, start=1):
        style = next((LINES[part] for part in LINES if part in place and " or " not in place), "solid")
        width = 1.0 if place in (SENSOR, PANEL) or LENS in place else 0.6
        axes.plot(numbers, depths, color=hand.INK, linewidth=width, linestyle=style, marker="o", markersize=2.5)
        if number <= NUMBERED_MARKS:
            axes.annotate(
                str(number), (numbers[-1], depths[-1]), (4, 0), textcoords="offset points",
                va="center_baseline", fontsize=letters * 0.9, path_effects=hand.halo(), zorder=5,
            )  # fmt: skip


def _draw_scales(axes: Axes, f_numbers: list[float], depths: np.ndarray, letters: float) -> None:
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(min(f_numbers) / 1.1, max(f_numbers) * 1.15)
    low, high = 0.8 * depths.min(), 1.25 * depths.max()
    axes.set_ylim(low, high)
    label = {"fontsize": letters * 0.9, "color": hand.MUTED}
    for value in (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100):
        if low < value < high:
            axes.axhline(value, color=hand.HAIRLINE, linewidth=0.5, zorder=0)
            axes.text(min(f_numbers) / 1.12, value, f"{value:g}%", ha="right", va="center_baseline", **label)
    for f_number in f_numbers:
        axes.axvline(f_number, color=hand.HAIRLINE, linewidth=0.5, zorder=0)
        axes.annotate(
            f"f/{f_number:g}", (f_number, 0), (0, -3), xycoords=("data", "axes fraction"), ha="center", va="top",
            textcoords="offset points", **label,
        )  # fmt: skip
