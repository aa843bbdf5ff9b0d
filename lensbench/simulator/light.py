"""How the light that a lens passes lies over the frame: falloff, reflections, glare.

References
----------
Smith, Modern Optical Engineering: the cosine-fourth law (from memory). ISO 9358 for what veiling glare is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.frame import centre_of, h_of, half_diagonal
from lensbench.shot import Shot
from lensbench.simulator import spline
from lensbench.simulator.circles import common_area
from lensbench.simulator.panel import Panel
from lensbench.simulator.projection import Projection
from lensbench.simulator.rendering import CoarseImage

CELL = 16
"""Light over the frame is computed at every so many pixels and read between them on a spline."""

BORDER = 10
"""Cells beyond the frame, since a spline through mirrored values is a little off where it ends."""


def passed_light(projection: Projection, f_number: float, channel: str, sensor_mm: NDArray) -> NDArray[np.float64]:
    """Light at positions on the sensor over that on the lens' axis, reflections apart.

    Parameters
    ----------
    sensor_mm : ndarray, shape (..., 2)
        From the frame's centre.
    """
    lens = projection.lens
    centre = projection.of_lens(lens.decentre_mm) + projection.of_lens(lens.light_decentre_mm)
    tangent = np.linalg.norm(projection.undistorted_mm(sensor_mm) - centre, axis=-1) / projection.image_distance_mm
    field = np.linalg.norm(np.asarray(sensor_mm) - centre, axis=-1) / lens.image_radius_mm
    light = (1 + tangent**2) ** (-lens.cos_power / 2)
    light = light * 0.5 ** (lens.colours[channel].falloff_stops * field**2)
    if lens.rim is not None:
        iris = lens.open_f_number / f_number
        open_area = common_area(iris, lens.rim.radius, np.zeros(1))
        light = light * common_area(iris, lens.rim.radius, lens.rim.walk * field) / open_area
    if lens.barrel is not None:
        away = np.linalg.norm(sensor_mm - projection.of_lens(lens.barrel.centre_mm), axis=-1)
        light = light / (1 + np.exp(4 * (away - lens.barrel.radius_mm) / lens.barrel.softness_mm))
    return light


def light_image(projection: Projection, f_number: float, channel: str, panel: Panel | None = None) -> CoarseImage:
    """Light over the frame as a smooth image: what falls in, what the lens passes, the spot that it reflects."""
    size = projection.camera.size
    x, y = ((np.arange(-BORDER, -(-extent // CELL) + BORDER) + 0.5) * CELL - 0.5 for extent in size)
    pixels = np.stack(np.meshgrid(x, y), axis=-1)
    sensor = projection.millimetres(pixels)
    light = passed_light(projection, f_number, channel, sensor)
    reflection = projection.lens.reflection
    if reflection is not None:
        squared = np.sum((sensor - projection.of_lens(projection.lens.decentre_mm)) ** 2, axis=-1)
        light += reflection.strength * (f_number / 16) ** 2 * np.exp(-squared / (2 * reflection.radius_mm**2))
    out = np.moveaxis(pixels - np.array(centre_of(size)), -1, 0)
    slope = projection.scene.light_slope
    light *= 1 + slope[0] * out[0] / (size[0] / 2) + slope[1] * out[1] / (size[1] / 2)
    if panel is not None:
        light *= np.exp2(panel.stops(*(out / half_diagonal(size))))
    return CoarseImage(spline.coefficients(light), CELL, BORDER)


def falloff_stops(projection: Projection, f_number: float, channel: str, x: NDArray, y: NDArray) -> NDArray:
    """True falloff of the lens at pixels x, y: stops below its mean at h < 0.1, positive is darker."""
    size = projection.camera.size
    cx, cy = centre_of(size)
    reach = 0.05 * np.hypot(*size)
    near = np.stack(np.meshgrid(cx + np.linspace(-reach, reach, 81), cy + np.linspace(-reach, reach, 81)), axis=-1)
    near = near[h_of(near[..., 0], near[..., 1], size) < 0.1]

    def passed(places: NDArray) -> NDArray:
        return passed_light(projection, f_number, channel, projection.millimetres(places))

    return np.log2(passed(near).mean() / passed(np.stack(np.broadcast_arrays(x, y), axis=-1)))


def add_glare(canvas: Shot, glare: float) -> None:
    """Lay a part of each channel's mean light evenly over it."""
    if glare == 0:
        return
    for channel in canvas.channels:
        parts = list(canvas.sublattices(channel))
        mean = np.mean([part.samples.mean(dtype=np.float64) for part in parts])
        for part in parts:
            part.samples[...] = (1 - glare) * part.samples + glare * mean
