"""The surface of best focus as findings: its curvature, its lean against the target, and behind the lens."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from lensbench import frame
from lensbench.analysers.focus._surface import FocusSurface
from lensbench.findings import NORMAL_95, FieldStep, Figure, FocusLean

FIELD_H = (0.25, 0.5, 0.75, 0.9)
"""Where the surface of best focus is stated, and at the outermost position."""


class Sheet(NamedTuple):
    """The target: pixels a millimetre, magnification, and its own lean, right and lower side away."""

    scale_px_mm: float
    magnification: float | None = None
    lean_deg: tuple[Figure, Figure] | None = None


def field_steps(surface: FocusSurface, scatter_mm: float) -> list[FieldStep]:
    """The surface of best focus from the middle out; the rail's scatter is an error of all of it."""
    rows = []
    for h in [*(h for h in FIELD_H if h < surface.reach - 0.03), surface.reach]:
        value, noise = surface.curvature(h)
        sigma = np.hypot(noise, scatter_mm)
        sagittal, tangential = (Figure.of(v, NORMAL_95 * s, "mm") for v, s in zip(value, sigma, strict=True))
        rows.append(FieldStep(round(h, 3), sagittal, tangential))
    return rows


def focus_lean(surface: FocusSurface, size: tuple[int, int], sheet: Sheet, scatter_mm: float) -> FocusLean:
    """The lean of the surface against the target, and the part of it that is not the target's own.

    Parameters
    ----------
    surface : FocusSurface
        Best focus over the frame.
    size : (int, int)
        Width and height of the frame in pixels.
    sheet : Sheet
        The target.
    scatter_mm : float
        Standard deviation of the rail's readings.

    Returns
    -------
    FocusLean
    """
    half_diagonal_mm = frame.half_diagonal(size) / sheet.scale_px_mm
    value, noise = surface.lean()
    slope, sigma = value / half_diagonal_mm, np.hypot(noise, scatter_mm) / half_diagonal_mm
    right_away, bottom_away = (_angle(v, s) for v, s in zip(slope, sigma, strict=True))
    behind = None
    if sheet.magnification is not None and sheet.lean_deg is not None:
        right, lower = (
            _behind(v, s, own, sheet.magnification) for v, s, own in zip(slope, sigma, sheet.lean_deg, strict=True)
        )
        behind = right, lower
    return FocusLean(right_away, bottom_away, sensor_deg=behind)


def _behind(slope: float, sigma: float, sheet: Figure, magnification: float) -> Figure:
    """A slope in front of the lens, less the sheet's own, as the angle behind the lens: m times the slope."""
    whole = magnification * (slope + np.tan(np.radians(sheet.value)))
    return _angle(whole, magnification * np.hypot(sigma, np.radians(sheet.half_width) / NORMAL_95))


def _angle(slope: float, sigma: float) -> Figure:
    return Figure.of(float(np.degrees(np.arctan(slope))), float(np.degrees(NORMAL_95 * sigma)), "°")
