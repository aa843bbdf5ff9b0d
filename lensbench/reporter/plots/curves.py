"""From coarse to fine: how much contrast is left at every fineness, in the centre and in the softest corner."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from lensbench.findings import Report, Setting, ZoneSharpness
from lensbench.optics import channel_um, perfect_mtf, pixel_mtf
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.sharpness import per_cycle, sharpness_unit, shown_channel

_FINEST = 0.5
"""Nyquist's frequency in cycles a pixel: what is finer only shows as false patterns."""

_INKS = {True: "#8a7430", False: hand.INK}
"""Ink of the centre's curves, and of the corner's."""

_STYLES = {"sagittal": "solid", "tangential": (0, (4, 2))}


def has_curves(setting: Setting) -> bool:
    """Whether a setting has a curve to draw."""
    return bool(_curves(setting))


def draw_curves(axes: Axes, report: Report, setting: Setting, letters: float = 8.0) -> None:
    """Draw one setting's contrast against fineness, with the 95 % intervals as bands.

    Parameters
    ----------
    axes : Axes
        Bare axes; they get their two scales here.
    report : Report
        Whose unit is used.
    setting : Setting
        What to draw.
    letters : float
        Size of the letters in points.
    """
    unit = sharpness_unit(report)
    per_unit = per_cycle(report)
    _draw_scales(axes, _FINEST * per_unit, unit, letters)
    hand.name_scale(axes, "contrast", letters)
    shown = _curves(setting)
    for zone in shown:
        fineness = np.array(zone.curve.frequency) * per_unit
        inside = fineness <= _FINEST * per_unit * 1.0001
        ink = _INKS[zone.zone == "centre"]
        low, high = (np.array(end)[inside] for end in (zone.curve.low, zone.curve.high))
        axes.fill_between(fineness[inside], low, high, color=ink, alpha=0.25, linewidth=0, zorder=2)
        contrast = np.array(zone.curve.mtf)[inside]
        axes.plot(
            fineness[inside], contrast, color=ink, linewidth=1.2, linestyle=_STYLES[zone.direction], zorder=3
        )
    _draw_possible(axes, report, setting, per_unit)
    _draw_key(axes, [zone.zone for zone in shown], letters)


def _draw_possible(axes: Axes, report: Report, setting: Setting, per_unit: float) -> None:
    """What diffraction and the pixel would leave a flawless lens, as a thin dotted line, where that is known."""
    limits, pitch = setting.limits, report.camera.pixel_pitch_um
    if limits is None or limits.effective_f_number is None or pitch is None:
        return
    frequency = np.linspace(0, _FINEST, 101)
    lens = perfect_mtf(frequency / pitch, channel_um(shown_channel(setting)), limits.effective_f_number)
    contrast = lens * pixel_mtf(frequency, 1.0, 0.0)
    axes.plot(frequency * per_unit, contrast, color=hand.MUTED, linewidth=0.9, linestyle=(0, (1, 1.6)), zorder=1)


def _curves(setting: Setting) -> list[ZoneSharpness]:
    """The curves of the centre and of the softest corner, both directions."""
    zones = setting.sharpness.zones if setting.sharpness else []
    channel = shown_channel(setting)
    known = [z for z in zones if z.channel == channel and z.curve and z.direction in _STYLES]
    corners = [z for z in known if z.zone.startswith("corner")]
    softest = min(corners, key=lambda z: z.mtf50.value).zone if corners else None
    return [z for z in known if z.zone in ("centre", softest)]


def _draw_key(axes: Axes, zones: list[str], letters: float) -> None:
    """Which line is which, at the top right, where falling curves leave room."""
    for line, zone in enumerate(dict.fromkeys(zones)):
        place = {"xycoords": "axes fraction", "textcoords": "offset points", "va": "top", "ha": "right"}
        axes.annotate(
            zone.replace("-", " "), (1, 0.985), (-2, -letters * 1.35 * line), fontsize=letters, weight="bold",
            color=_INKS[zone == "centre"], path_effects=hand.halo(), zorder=5, **place,
        )  # fmt: skip


def _draw_scales(axes: Axes, finest: float, unit: str, letters: float) -> None:
    axes.set_xlim(0, finest)
    axes.set_ylim(0, 1.02)
    label = {"fontsize": letters * 0.9, "color": hand.MUTED}
    for value in (0, 0.25, 0.5, 0.75, 1):
        axes.axhline(value, color=hand.MUTED if value == 0.5 else hand.HAIRLINE, linewidth=0.5, zorder=0)
        axes.text(-0.015 * finest, value, f"{100 * value:.0f}%", ha="right", va="center_baseline", **label)
    steps = np.linspace(0, finest, 5)
    for value in steps:
        text = f"{value:.0f} {unit}" if unit == "lp/mm" else f"{value:.3g} {unit}"
        side = "left" if value == 0 else "right" if value == steps[-1] else "center"
        axes.text(value, -0.04, text if value == steps[-1] else text.split(" ")[0], ha=side, va="top", **label)
