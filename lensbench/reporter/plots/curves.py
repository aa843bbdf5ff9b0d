"""From coarse to fine: the contrast left at every spatial frequency, in the centre and in the softest corner."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from lensbench.findings import ContrastCurve, Report, Setting
from lensbench.optics import channel_um, perfect_mtf, pixel_mtf
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import legend_above
from lensbench.reporter.values.sharpness import per_cycle, sharpness_unit, shown_channel
from lensbench.reporter.values.zones import zone_heading

_FINEST = 0.5
"""Nyquist's frequency in cycles a pixel: what is finer only shows as false patterns."""


def has_curves(setting: Setting) -> bool:
    """Whether a setting has a curve to draw."""
    return bool(_curves(setting))


def draw_curves(axes: Axes, report: Report, setting: Setting) -> None:
    """Draw one setting's contrast against spatial frequency, with the 95 % intervals shaded.

    Parameters
    ----------
    axes : Axes
        Axes with scales.
    report : Report
        Whose unit is used.
    setting : Setting
        What to draw.
    """
    per_unit = per_cycle(report)
    for zone, direction, curve in _curves(setting):
        ink = style.SECOND_INK if zone == "centre" else style.INK
        rows = np.array([curve.frequency, curve.mtf, curve.low, curve.high])
        frequency, contrast, low, high = rows[:, rows[0] <= _FINEST * 1.0001]
        axes.fill_between(frequency * per_unit, low, high, color=ink, alpha=0.25, linewidth=0, zorder=2)
        axes.plot(
            frequency * per_unit, contrast, color=ink, linewidth=1.2, linestyle=style.DIRECTION_LINES[direction],
            zorder=3, label=f"{zone_heading(zone).removeprefix('corner ')}, {direction}",
        )  # fmt: skip
    _draw_possible(axes, report, setting, per_unit)
    axes.axhline(0.5, color=style.MUTED, linewidth=0.5, zorder=1)
    axes.set_xlim(0, _FINEST * per_unit)
    axes.set_ylim(0, 1.02)
    axes.yaxis.set_major_formatter(PercentFormatter(1.0, symbol=""))
    axes.set_ylabel("contrast, %")
    axes.set_xlabel(f"spatial frequency, {sharpness_unit(report)}")
    legend_above(axes, 2)


def _draw_possible(axes: Axes, report: Report, setting: Setting, per_unit: float) -> None:
    """What diffraction and the pixel would leave a flawless lens, as a thin dotted line, where that is known."""
    limits, pitch = setting.limits, report.camera.pixel_pitch_um
    if limits is None or limits.effective_f_number is None or pitch is None:
        return
    frequency = np.linspace(0, _FINEST, 101)
    lens = perfect_mtf(frequency / pitch, channel_um(shown_channel(setting)), limits.effective_f_number)
    axes.plot(
        frequency * per_unit, lens * pixel_mtf(frequency, 1.0, 0.0), color=style.MUTED, linewidth=0.9,
        linestyle=(0, (1, 1.6)), zorder=1, label="flawless lens",
    )  # fmt: skip


def _curves(setting: Setting) -> list[tuple[str, str, ContrastCurve]]:
    """The curves of the centre and of the softest corner, by zone and direction."""
    zones = setting.sharpness.zones if setting.sharpness else []
    channel = shown_channel(setting)
    known = [z for z in zones if z.channel == channel and z.curve and z.direction in style.DIRECTION_LINES]
    corners = [z for z in known if z.zone.startswith("corner")]
    softest = min(corners, key=lambda z: z.mtf50.value).zone if corners else None
    return [(z.zone, z.direction, z.curve) for z in known if z.curve and z.zone in ("centre", softest)]
