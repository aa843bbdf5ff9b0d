"""The pixel pitch as the sensor's size gives it, and figures in pixels converted by it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.analysers.geometry import _notes
from lensbench.findings import NORMAL_95, Figure
from lensbench.frame import pixel_pitch_um, sensor_misfit

UNEVEN = 0.01
"""Width and height of the sensor that disagree by more than this share are worth a note: data sheets round."""


@dataclass(frozen=True)
class PixelPitch:
    """The pixel pitch in mm and its relative standard deviation."""

    mm: float
    sigma: float

    def times(self, figure: Figure, unit: str) -> Figure:
        """A figure in pixels as one in millimetres on the sensor."""
        half = np.hypot(figure.half_width, NORMAL_95 * self.sigma * figure.value)
        return Figure.of(figure.value * self.mm, half * self.mm, unit)


def pixel_pitch(
    size: tuple[int, int], sensor_mm: tuple[float, float] | None
) -> tuple[PixelPitch | None, list[str]]:
    """The pixel pitch, as uncertain as width and height of the sensor disagree (pixels are square), and notes."""
    if sensor_mm is None:
        return None, [_notes.NO_SENSOR_SIZE]
    pitch_um = pixel_pitch_um(size, sensor_mm)
    if pitch_um is None:
        return None, [_notes.wrong_sensor_size(str(sensor_misfit(size, sensor_mm)))]
    ratio = abs(float(np.log(sensor_mm[0] / size[0] / (sensor_mm[1] / size[1]))))
    notes = [_notes.uneven_sensor_size(sensor_mm, ratio)] if ratio > UNEVEN else []
    return PixelPitch(pitch_um / 1000, ratio / 2 / NORMAL_95), notes
