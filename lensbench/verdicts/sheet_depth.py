"""Whether the target leaned so far that its sides left the depth of field."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.findings import Figure, Geometry
from lensbench.optics import depth_of_field

BLUR_PX = 2.0
"""Blur circle, in pixels, that bounds the depth of field here: it takes a few percent of a sharp edge's MTF50."""


@dataclass(frozen=True)
class SheetDepth:
    """How far the sheet's sides lay off the plane of its middle, against the depth of field.

    Attributes
    ----------
    right_away_mm, bottom_away_mm : float
        How much farther than the left (top) side the right (bottom) one lay.
    depth_mm : float
        Depth of field, front to back.
    distance_mm : float
        From the lens to the sheet.
    distance_known : bool
        False where it is only what a lens of normal view would have.
    """

    right_away_mm: float
    bottom_away_mm: float
    depth_mm: float
    distance_mm: float
    distance_known: bool

    @property
    def share(self) -> float:
        """How far the farthest corner lay off, in half depths of field: the sides are soft from 1 on."""
        return (abs(self.right_away_mm) + abs(self.bottom_away_mm)) / self.depth_mm


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
    alignment, magnification = geometry.alignment, geometry.magnification
    if None in (alignment, magnification, f_number, sensor_mm, pixel_pitch_um):
        return None
    known = geometry.view is not None
    # A normal lens has its image distance about as long as the sensor's diagonal.
    away = geometry.view.pupil_to_target_mm.value if known else float(np.hypot(*sensor_mm)) / magnification.value
    depth = depth_of_field(f_number, magnification.value, BLUR_PX * pixel_pitch_um / 1000, pupil_ratio)
    right, bottom = (
        _surely(part) / 100 * away for part in (alignment.wider_left_percent, alignment.wider_top_percent)
    )
    return SheetDepth(right, bottom, depth, away, known)


def _surely(figure: Figure) -> float:
    """The end of a figure's interval that is nearer to 0; 0 where that lies inside."""
    if figure.low <= 0 <= figure.high:
        return 0.0
    return figure.low if figure.low > 0 else figure.high
