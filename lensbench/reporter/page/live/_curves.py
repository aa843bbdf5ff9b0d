"""Contrast against frequency, thinned to what a drawing on a screen shows."""

from __future__ import annotations

from typing import Any

import numpy as np

from lensbench.findings import ContrastCurve, Report, Setting
from lensbench.optics import channel_um, perfect_mtf, pixel_mtf
from lensbench.reporter.values.sharpness import channels_of

FINEST = 0.5
"""Nyquist's frequency in cycles a pixel: what is finer only shows as false patterns."""

STEPS = 41
"""Points of a curve, evenly from 0 to `FINEST`."""

GRID = np.linspace(0, FINEST, STEPS)


def curves_of(setting: Setting) -> dict[str, list[list[int]]]:
    """Every zone's curves by zone, colour and direction: contrast, low and high end, in thousandths."""
    zones = setting.sharpness.zones if setting.sharpness else []
    return {
        f"{row.zone}|{row.channel}|{row.direction}": _thinned(row.curve)
        for row in zones
        if row.curve and row.direction != "mean"
    }


def thousandths(frequency: Any, contrast: Any) -> list[int]:
    """A curve at the drawing's own frequencies."""
    return [round(1000 * float(value)) for value in np.interp(GRID, frequency, contrast)]


def flawless_curves(report: Report, setting: Setting) -> dict[str, list[int]]:
    """What diffraction and the pixel would leave a flawless lens, by colour, where that is known."""
    limits, pitch = setting.limits, report.camera.pixel_pitch_um
    if limits is None or limits.effective_f_number is None or pitch is None:
        return {}
    pixel = pixel_mtf(GRID, 1.0, 0.0)
    f_number = limits.effective_f_number
    return {
        channel: thousandths(GRID, perfect_mtf(GRID / pitch, channel_um(channel), f_number) * pixel)
        for channel in channels_of(setting)
    }


def _thinned(curve: ContrastCurve) -> list[list[int]]:
    return [thousandths(curve.frequency, row) for row in (curve.mtf, curve.low, curve.high)]
