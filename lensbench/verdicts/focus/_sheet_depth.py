"""Whether the target leaned or bulged so far that its sharpness suffered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.findings import Figure, Geometry
from lensbench.optics import depth_of_field, gaussian_mtf50

BLUR_PX = 2.0
"""Blur circle, in pixels, that bounds the depth of field here: it takes a few percent of a sharp edge's MTF50."""


LONG_VIEW = 2.0
"""Where its distance isn't known, a lens is taken to stand no farther from the sheet than so many diagonals of
what it takes in: a view of 28°."""


BULGE_RESIDUAL = 0.046
"""Residual (root mean square) of the edges' places that a sheet bent as a cylinder leaves, over how much larger
its middle is drawn than its sides and over the half-diagonal (study: `tests/bench/gauntlet`, cause ``curled``)."""


@dataclass(frozen=True)
class SheetBulge:
    """How far the sheet's middle lay off the plane of its sides, about, against the depth of field.

    Attributes
    ----------
    residual_px : float
        How far the edges' places lie from where any flat sheet's could be (root mean square).
    bulge_mm, depth_mm : float
        How far the middle stood out or in, and the depth of field, front to back.
    distance_known : bool
        False where the lens may be nearer to the sheet: then it is less.
    """

    residual_px: float
    bulge_mm: float
    depth_mm: float
    distance_known: bool

    @property
    def share(self) -> float:
        """How far the middle lay off, in half depths of field."""
        return 2 * self.bulge_mm / self.depth_mm


@dataclass(frozen=True)
class SheetDepth:
    """How far the sheet's sides lay off the plane of its middle, against the depth of field.

    Attributes
    ----------
    right_away, bottom_away : float
        How much farther than the left (top) side the right (bottom) one lay, as a share of the distance.
    depth_mm : float
        Depth of field, front to back.
    distance_mm : float
        From the lens to the sheet.
    distance_known : bool
        False where that is only the farthest that it might be.
    """

    right_away: float
    bottom_away: float
    depth_mm: float
    distance_mm: float
    distance_known: bool

    @property
    def share(self) -> float:
        """How far the farthest corner lay off, in half depths of field: the sides are soft from 1 on."""
        return (abs(self.right_away) + abs(self.bottom_away)) * self.distance_mm / self.depth_mm

    @property
    def soft_beyond_mm(self) -> float:
        """The distance of the lens from which on the sides are soft."""
        return self.distance_mm / self.share


def judge_sheet_depth(
    geometry: Geometry,
    f_number: float | None,
    sensor_mm: tuple[float, float] | None,
    pixel_pitch_um: float | None,
    pupil_ratio: float = 1.0,
) -> SheetDepth | None:
    """Reckon from unequal sizes at opposite sides how far a target's sides lay off, and how far they may.

    What lies farther away by a share of the distance is drawn smaller by that share.

    Parameters
    ----------
    geometry : Geometry
        Of the setting.
    f_number : float or None
        As marked.
    sensor_mm : (float, float) or None
        Width and height of the sensor.
    pixel_pitch_um : float or None
        Distance of its pixels.
    pupil_ratio : float
        Exit over entrance pupil.

    Returns
    -------
    SheetDepth or None
        None where too little is known.
    """
    alignment, reach = geometry.alignment, _reach(geometry, f_number, sensor_mm, pixel_pitch_um, pupil_ratio)
    if alignment is None or reach is None:
        return None
    right, bottom = (_surely(part) / 100 for part in (alignment.wider_left_percent, alignment.wider_top_percent))
    return SheetDepth(right, bottom, *reach)


def judge_sheet_bulge(
    geometry: Geometry,
    f_number: float | None,
    sensor_mm: tuple[float, float] | None,
    pixel_pitch_um: float | None,
    pupil_ratio: float = 1.0,
) -> SheetBulge | None:
    """Reckon how far a sheet's middle stands off its sides, from what no flat sheet's edges can leave.

    Parameters and None are those of `judge_sheet_depth`.
    """
    reach = _reach(geometry, f_number, sensor_mm, pixel_pitch_um, pupil_ratio)
    if geometry.distortion is None or reach is None or sensor_mm is None or pixel_pitch_um is None:
        return None
    depth, away, known = reach
    residual = geometry.distortion.residual_px.low
    half_diagonal = 500 * float(np.hypot(*sensor_mm)) / pixel_pitch_um
    return SheetBulge(residual, residual / (BULGE_RESIDUAL * half_diagonal) * away, depth, known)


def sharpness_lost(share: float, mtf50: float) -> float:
    """Share of its MTF50 that an edge loses where it lies off by so many half depths of field.

    Variances of blur add up; an even disc's is a sixteenth of its squared diameter.
    """
    own = gaussian_mtf50(1.0) / mtf50
    return float(1 - 1 / np.sqrt(1 + (BLUR_PX * share / 4 / own) ** 2))


def _reach(
    geometry: Geometry,
    f_number: float | None,
    sensor_mm: tuple[float, float] | None,
    pixel_pitch_um: float | None,
    pupil_ratio: float,
) -> tuple[float, float, bool] | None:
    """Depth of field and distance in mm, and whether that is known; None where too little is."""
    magnification = geometry.magnification
    if magnification is None or f_number is None or sensor_mm is None or pixel_pitch_um is None:
        return None
    if geometry.view is not None:
        away = geometry.view.pupil_to_target_mm.value
    else:
        away = LONG_VIEW * float(np.hypot(*sensor_mm)) / magnification.value
    depth = depth_of_field(f_number, magnification.value, BLUR_PX * pixel_pitch_um / 1000, pupil_ratio)
    return depth, away, geometry.view is not None


def _surely(figure: Figure) -> float:
    """The end of a figure's interval that is nearer to 0; 0 where that lies inside."""
    if figure.low <= 0 <= figure.high:
        return 0.0
    return figure.low if figure.low > 0 else figure.high
