"""The response of the whole system at a position of the sheet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.optics import effective_f_number
from lensbench.simulator.projection import Projection
from lensbench.simulator.pupil import FieldPoint, Iris, blur_radius_px, response_ratio
from lensbench.simulator.response import FINEST, Response, Surround


class LocalOptics:
    """The system's response at positions of the sheet, by channel, for one shot."""

    def __init__(self, projection: Projection, f_number: float) -> None:
        scene, lens = projection.scene, projection.lens
        self.projection = projection
        effective = float(effective_f_number(f_number, scene.magnification, lens.pupil_ratio))
        self.iris = Iris(f_number, effective, scene.lens_turn_deg)

    def surround(self, channel: str) -> Surround:
        """What all positions have in common."""
        camera, colour = self.projection.camera, self.projection.lens.colours[channel]
        cutoff = None
        if self.projection.lens.diffraction:
            cutoff = 1000 * camera.pitch_mm / (min(colour.wavelengths_um) * self.iris.effective)
        motion = self.projection.scene.motion_px
        return Surround(cutoff, colour.gaussian_px, motion_px=motion, fill=camera.fill)

    def points(self, channel: str, position_mm: NDArray) -> list[FieldPoint]:
        """What the lens does there to each of the channel's wavelengths."""
        projection, lens = self.projection, self.projection.lens
        colour = lens.colours[channel]
        bent = projection.distorted_mm(projection.ideal_mm(position_mm))
        defocus = float(projection.defocus_mm(projection.placed(position_mm)[2], bent))
        own = projection.coloured_mm(bent, channel)
        return [
            FieldPoint(
                projection.field(bent),
                defocus - lens.colour_at(channel, wavelength)[0],
                wavelength,
                weight,
                tuple((projection.coloured_mm(bent, channel, wavelength) - own) / projection.camera.pitch_mm),
            )
            for wavelength, weight in zip(colour.wavelengths_um, colour.weights, strict=True)
        ]

    def response(self, channel: str, position_mm: NDArray) -> Response:
        """The response of a channel at a position of the sheet."""
        surround = self.surround(channel)
        if surround.cutoff is None:
            return Response(surround, None)
        points, projection = self.points(channel, position_mm), self.projection
        return Response(
            surround, response_ratio(projection.lens, self.iris, points, projection.camera.pitch_mm, FINEST)
        )

    def reach_px(self, channel: str, position_mm: NDArray) -> float:
        """How far the blur of a channel reaches there, skirts apart."""
        surround = self.surround(channel)
        reach = 6 * surround.gaussian_px + float(np.hypot(*surround.motion_px))
        if surround.cutoff is not None:
            lens, pitch = self.projection.lens, self.projection.camera.pitch_mm
            points = self.points(channel, position_mm)
            reach += max(2 * blur_radius_px(lens, self.iris, p, pitch) + np.hypot(*p.shift_px) for p in points)
        return reach
