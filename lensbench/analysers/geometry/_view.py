"""The field of view: the angles that the frame covers from the entrance pupil, and the lengths behind them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry._mapping import Mapping
from lensbench.analysers.geometry._mapping_fit import MappingFit
from lensbench.analysers.geometry._pixel_pitch import PixelPitch
from lensbench.analysers.geometry._rail import RailDistance
from lensbench.findings import NORMAL_95, Figure, View
from lensbench.frame import centre_of

UNIFORM_SIGMA = 1 / np.sqrt(12)
"""Standard deviation of a uniform distribution over its width."""


def measure_view(
    fit: MappingFit,
    shot: str,
    rail: RailDistance,
    pitch: PixelPitch | None,
    pupil_ratio: float,
    focused: bool,
) -> View:
    """Measure the field of view of one shot from its mapping and the image distance.

    Parameters
    ----------
    fit : MappingFit
        Of the shot, with the image distance known.
    shot : str
        Its file name.
    rail : RailDistance
        The image distance.
    pitch : PixelPitch or None
        The pixel pitch; without it there are no lengths on the sensor.
    pupil_ratio : float
        Exit pupil's diameter over the entrance pupil's.
    focused : bool
        Whether the shot is known to be the one in focus of those on the rail.

    Returns
    -------
    View
    """
    middle = np.asarray(centre_of(fit.mapping.size))
    scale, own, _ = (float(part[0]) for part in fit.value_and_sigmas(lambda m: m.scale(middle)))
    away = rail.value / scale
    # The rulers' error scales both the image distance and the scale, and cancels in the distance to the target.
    away_half = NORMAL_95 * away * np.hypot(rail.own / rail.value, own / scale)
    distance = Figure.of(rail.value, NORMAL_95 * rail.sigma, "px")
    diagonal, across, down = _angles(fit, rail)
    return View(
        diagonal_deg=diagonal,
        across_deg=across,
        down_deg=down,
        image_distance_px=distance,
        image_distance_mm=None if pitch is None else pitch.times(distance, "mm"),
        pupil_to_target_mm=Figure.of(away, away_half, "mm"),
        focal_length_mm=None if pitch is None else _focal_length(rail, scale, pitch, pupil_ratio, focused),
        shot=shot,
        shots=rail.shots,
    )


def _angles(fit: MappingFit, rail: RailDistance) -> list[Figure]:
    """Full angles over the diagonal (mean of both), across and down, distortion included."""
    width, height = fit.mapping.size
    left, top, right, bottom = -0.5, -0.5, width - 0.5, height - 0.5
    cx, cy = centre_of(fit.mapping.size)
    ends = np.array(
        [
            [[left, top], [right, bottom]],
            [[right, top], [left, bottom]],
            [[left, cy], [right, cy]],
            [[cx, top], [cx, bottom]],
        ]
    )

    def angles(mapping: Mapping, distance: float) -> NDArray:
        radius = np.linalg.norm(mapping.undistorted(ends), axis=-1) * mapping.unit
        full = np.degrees(np.arctan(radius / distance)).sum(axis=-1)
        return np.array([full[:2].mean(), full[2], full[3]])

    values, own, shared = fit.value_and_sigmas(lambda m: angles(m, rail.value))
    step = 1e-4 * rail.value
    slope = (angles(fit.mapping, rail.value + step) - angles(fit.mapping, rail.value - step)) / (2 * step)
    sigma = np.sqrt(own**2 + shared**2 + (slope * rail.sigma) ** 2)
    return [Figure.of(v, NORMAL_95 * s, "°") for v, s in zip(values, sigma, strict=True)]


def _focal_length(
    rail: RailDistance, scale: float, pitch: PixelPitch, pupil_ratio: float, focused: bool
) -> Figure:
    """F from the image distance over the pupil ratio, f (1 + m / P), m being that of the shot in focus."""
    ratio = scale * pitch.mm / pupil_ratio
    focal = rail.value * pitch.mm / (1 + ratio)
    # An error of the rulers or of the pitch scales the image distance and m alike.
    common = np.hypot(rail.shared / rail.value, pitch.sigma) / (1 + ratio)
    # Without sharpness the position in focus may be anywhere between the rail's ends.
    focus = 0.0 if focused else rail.travel_mm * scale / rail.value * UNIFORM_SIGMA
    sigma = np.sqrt((rail.own / rail.value) ** 2 + common**2 + (focus * ratio / (1 + ratio)) ** 2)
    return Figure.of(focal, NORMAL_95 * focal * sigma, "mm")
