"""A printed tile's outline, and the response at the place where it is seen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.optics import effective_f_number
from lensbench.simulator.projection import Projection
from lensbench.simulator.pupil import FieldPoint, Iris, blur_radius_px, response_ratio
from lensbench.simulator.response import FINEST, Response, Surround
from lensbench.simulator.scene import Print

CHORD_PX = 2e-4
"""A bent side is drawn with as many chords as leave no more than this between chord and curve."""


def spread_corners(corners_mm: NDArray[np.float64], spread_mm: float) -> NDArray[np.float64]:
    """Move the sides of triangles outwards by an even amount.

    Parameters
    ----------
    corners_mm : ndarray, shape (..., 3, 2)
    """
    if spread_mm == 0:
        return corners_mm
    sides = np.linalg.norm(np.roll(corners_mm, -1, axis=-2) - np.roll(corners_mm, 1, axis=-2), axis=-1)
    around = sides.sum(axis=-1, keepdims=True)
    incentre = np.sum(corners_mm * sides[..., None], axis=-2, keepdims=True) / around[..., None]
    # Sides move away from the incentre in proportion to their common distance from it, the inradius.
    a, b, c = np.moveaxis(corners_mm, -2, 0)
    twice_area = np.abs((b - a)[..., 0] * (c - a)[..., 1] - (b - a)[..., 1] * (c - a)[..., 0])
    inradius = twice_area / around[..., 0]
    return incentre + (corners_mm - incentre) * (1 + spread_mm / inradius)[..., None, None]


def outline_mm(corners_mm: NDArray, made: Print, sides: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """The printed outline of one tile on the sheet, each side in `sides` parts or in dots.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    corners = spread_corners(corners_mm, made.ink_spread_mm)
    parts = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = np.linalg.norm(end - start)
        count = sides if made.raggedness_mm == 0 else int(np.ceil(2 * length / made.dot_mm))
        t = np.arange(count)[:, None] / count
        side = start + t * (end - start)
        if made.raggedness_mm > 0:
            normal = np.array([end[1] - start[1], start[0] - end[0]]) / length
            side = side + _rough(count, rng)[:, None] * made.raggedness_mm * normal
        parts.append(side)
    return np.concatenate(parts)


def _rough(count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Random heights of unit variance, alike over about two steps (one dot)."""
    return np.convolve(rng.standard_normal(count + 2), [0.5, 1 / np.sqrt(2), 0.5], "valid")


def parts_of_side(corners_px: NDArray, middles_px: NDArray) -> int:
    """How many chords a bent side needs, from where its corners and its middle lie.

    Parameters
    ----------
    corners_px, middles_px : ndarray, shape (3, 2)
        Middles of the sides that start at each corner.
    """
    bow = np.linalg.norm(middles_px - (corners_px + np.roll(corners_px, -1, axis=0)) / 2, axis=1).max()
    return int(np.clip(np.ceil(np.sqrt(bow / CHORD_PX)), 1, 400))


class TileOptics:
    """The system's response at places of the picture, by channel."""

    def __init__(self, projection: Projection, f_number: float) -> None:
        scene, lens = projection.scene, projection.lens
        self.projection = projection
        effective = float(effective_f_number(f_number, scene.magnification, lens.pupil_ratio))
        self.iris = Iris(f_number, effective, scene.lens_turn_deg)

    def surround(self, channel: str) -> Surround:
        """What all places have in common."""
        camera, colour = self.projection.camera, self.projection.lens.colours[channel]
        cutoff = None
        if self.projection.lens.diffraction:
            cutoff = 1000 * camera.pitch_mm / (min(colour.wavelengths_um) * self.iris.effective)
        motion = self.projection.scene.motion_px
        return Surround(cutoff, colour.gaussian_px, motion_px=motion, fill=camera.fill)

    def points(self, channel: str, bent_mm: NDArray, depth_mm: float) -> list[FieldPoint]:
        """The channel's wavelengths at a place on the sensor, given by where nominal colour lands."""
        projection, lens = self.projection, self.projection.lens
        colour = lens.colours[channel]
        defocus = float(projection.defocus_mm(depth_mm, bent_mm))
        own = projection.coloured_mm(bent_mm, channel)
        return [
            FieldPoint(
                projection.field(bent_mm),
                defocus - lens.colour_at(channel, wavelength)[0],
                wavelength,
                weight,
                tuple((projection.coloured_mm(bent_mm, channel, wavelength) - own) / projection.camera.pitch_mm),
            )
            for wavelength, weight in zip(colour.wavelengths_um, colour.weights, strict=True)
        ]

    def response(self, channel: str, bent_mm: NDArray, depth_mm: float) -> Response:
        """The response of a channel at one place."""
        surround = self.surround(channel)
        if surround.cutoff is None:
            return Response(surround, None)
        points = self.points(channel, bent_mm, depth_mm)
        projection = self.projection
        ratio = response_ratio(projection.lens, self.iris, points, projection.camera.pitch_mm, FINEST)
        return Response(surround, ratio)

    def reach_px(self, channel: str, bent_mm: NDArray, depth_mm: float) -> float:
        """How far the blur of a channel reaches there, skirts apart."""
        surround = self.surround(channel)
        reach = 6 * surround.gaussian_px + float(np.hypot(*surround.motion_px))
        if surround.cutoff is not None:
            lens, pitch = self.projection.lens, self.projection.camera.pitch_mm
            points = self.points(channel, bent_mm, depth_mm)
            reach += max(3 * blur_radius_px(lens, self.iris, p, pitch) + np.hypot(*p.shift_px) for p in points)
        return reach
