"""Where a position on the sheet comes to lie in the picture, and how far out of focus it is there.

The chief ray goes through the pupils' centres, so the sheet is projected in perspective with the distance
F = f(1 + m/P) whether it is in focus or not. Distortion and colour follow.

References
----------
Smith, Modern Optical Engineering (thin-lens conjugates; from memory). Brown, Decentering distortion of lenses,
Photogrammetric Engineering 32 (1966), for the two decentring terms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.frame import centre_of
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens, turned
from lensbench.simulator.scene import Scene


@dataclass(frozen=True)
class Projection:
    """Sheet to picture for one lens, camera and scene."""

    lens: Lens
    camera: Camera
    scene: Scene

    @property
    def image_distance_mm(self) -> float:
        """F = f(1 + m/P): field angles before the lens are arctan(place on the sensor / F)."""
        return self.lens.focal_mm * (1 + self.scene.magnification / self.lens.pupil_ratio)

    @property
    def magnification(self) -> float:
        """At the axis, at the sheet's present distance."""
        return self.image_distance_mm / self.object_distance_mm

    @property
    def object_distance_mm(self) -> float:
        """From the entrance pupil to the sheet on the axis."""
        return self.image_distance_mm / self.scene.magnification + self.scene.rail_mm

    def of_lens(self, vector: tuple[float, float]) -> NDArray[np.float64]:
        """A vector of the lens as it lies in the picture after the lens was turned in its mount."""
        return turned(vector, self.scene.lens_turn_deg)

    def placed(self, sheet_mm: ArrayLike) -> NDArray[np.float64]:
        """Positions on the designed sheet, shape (..., 2), in space, shape (..., 3): z away from the lens."""
        scene = self.scene
        x, y = np.moveaxis(np.asarray(sheet_mm, dtype=np.float64), -1, 0)
        x, y = x * scene.print.scale[0] * (-1 if scene.mirrored else 1), y * scene.print.scale[1]
        x, y = turned((x, y), scene.turn_deg)
        across, down = np.radians(scene.tilt_deg)
        x, z = x * np.cos(across), x * np.sin(across)
        y, z = y * np.cos(down) - z * np.sin(down), y * np.sin(down) + z * np.cos(down)
        return np.stack([x + scene.shift_mm[0], y + scene.shift_mm[1], z], axis=-1)

    def ideal_mm(self, sheet_mm: ArrayLike) -> NDArray[np.float64]:
        """Where a lens without distortion or colour puts positions of the sheet; mm from the frame's centre."""
        space = self.placed(sheet_mm)
        return space[..., :2] * (self.image_distance_mm / (self.object_distance_mm + space[..., 2:]))

    def distorted_mm(self, ideal_mm: ArrayLike) -> NDArray[np.float64]:
        """Distort ideal positions as the lens does (nominal colour)."""
        lens, centre = self.lens, self.of_lens(self.lens.decentre_mm)
        field = (np.asarray(ideal_mm, dtype=np.float64) - centre) / lens.image_radius_mm
        squared = np.sum(field**2, axis=-1, keepdims=True)
        powers = sum(k * squared ** (i + 1) for i, k in enumerate(lens.distortion))
        vector = self.of_lens(lens.decentring)
        tangential = squared * vector + 2 * field * np.sum(field * vector, axis=-1, keepdims=True)
        return centre + lens.image_radius_mm * (field * (1 + powers) + tangential)

    def undistorted_mm(self, distorted_mm: ArrayLike) -> NDArray[np.float64]:
        """Undo `distorted_mm`, to a nanometre."""
        wanted = np.asarray(distorted_mm, dtype=np.float64)
        ideal = wanted
        for _ in range(100):
            miss = wanted - self.distorted_mm(ideal)
            ideal = ideal + miss
            if np.abs(miss).max() < 1e-6:
                break
        return ideal

    def coloured_mm(self, distorted_mm: ArrayLike, channel: str, wavelength_um: float | None = None) -> NDArray:
        """Move nominal positions to where a channel (or one wavelength in it) puts them."""
        lens, colour = self.lens, self.lens.colours[channel]
        wanted = colour.wavelength_um if wavelength_um is None else wavelength_um
        _, stretch, outer = lens.colour_at(channel, wanted)
        centre = self.of_lens(lens.decentre_mm) + self.of_lens(lens.colour_decentre_mm)
        out = np.asarray(distorted_mm, dtype=np.float64) - centre
        squared = np.sum(out**2, axis=-1, keepdims=True) / lens.image_radius_mm**2
        return centre + out * (1 + stretch + outer * squared) + self.of_lens(colour.shift_mm)

    def pixels(self, sensor_mm: ArrayLike) -> NDArray[np.float64]:
        """Millimetres from the frame's centre to pixels of the picture."""
        return np.asarray(sensor_mm) / self.camera.pitch_mm + np.array(centre_of(self.camera.size))

    def millimetres(self, pixels: ArrayLike) -> NDArray[np.float64]:
        """Pixels of the picture to millimetres from the frame's centre."""
        return (np.asarray(pixels) - np.array(centre_of(self.camera.size))) * self.camera.pitch_mm

    def to_picture(self, sheet_mm: ArrayLike, channel: str) -> NDArray[np.float64]:
        """Positions of the designed sheet in pixels of one channel's picture, both of shape (..., 2)."""
        return self.pixels(self.coloured_mm(self.distorted_mm(self.ideal_mm(sheet_mm)), channel))

    def field(self, sensor_mm: ArrayLike) -> NDArray[np.float64]:
        """The lens' field H, as a vector, at positions on the sensor."""
        return (np.asarray(sensor_mm) - self.of_lens(self.lens.decentre_mm)) / self.lens.image_radius_mm

    def defocus_mm(self, depth_mm: ArrayLike, sensor_mm: ArrayLike) -> NDArray[np.float64]:
        """How far the sensor lies beyond the nominal colour's focus (curvature of field apart).

        Parameters
        ----------
        depth_mm : array_like, shape (...)
            How much farther than the sheet's plane on the axis a position is.
        sensor_mm : array_like, shape (..., 2)
            Where its picture lies.
        """
        lens, scene = self.lens, self.scene
        distance = lens.focal_mm * (1 + 1 / scene.magnification) + scene.rail_mm + np.asarray(depth_mm)
        focus = 1 / (1 / lens.focal_mm - 1 / distance) - lens.focal_mm * (1 + scene.magnification)
        lean = np.tan(np.radians(self.of_lens(lens.lean_deg)))
        return scene.defocus_mm - focus + np.asarray(sensor_mm) @ lean
