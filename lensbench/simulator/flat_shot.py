"""A shot of an even light, with the truth about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.optics import effective_f_number
from lensbench.shot import Exposure, Shot
from lensbench.simulator.camera import MODEL, Camera
from lensbench.simulator.dirt import MarkTruth, add_dirt, dirt_in_picture
from lensbench.simulator.lens import Lens
from lensbench.simulator.light import add_glare, falloff_stops, light_image
from lensbench.simulator.panel import Panel
from lensbench.simulator.projection import Projection
from lensbench.simulator.rendering import Patch, channel_parts
from lensbench.simulator.scene import Scene


@dataclass(frozen=True, eq=False)
class FlatTruth:
    """What a perfect measurement of a flat would find.

    Attributes
    ----------
    x, y : ndarray, shape (columns,), (rows,)
        Pixels of a grid over the frame, from border to border.
    stops : dict of str to ndarray, shape (rows, columns)
        Falloff of the lens by channel at the grid: stops below its mean at h < 0.1, positive is darker. Veiling
        glare, which no flat can distinguish from falloff, is in it; the panel's own unevenness and reflections
        are not.
    centre_px : (float, float)
        Where the lens passes the most light.
    marks : list of MarkTruth
        The dirt whose shadow falls in the frame.
    effective_f_number : float
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    stops: dict[str, NDArray[np.float64]]
    centre_px: tuple[float, float]
    marks: list[MarkTruth]
    effective_f_number: float


def flat_shot(
    lens: Lens,
    camera: Camera,
    panel: Panel,
    scene: Scene,
    f_number: float,
    seed: int = 0,
    name: str = "flat.dng",
) -> tuple[Shot, FlatTruth]:
    """Photograph an even light.

    Parameters
    ----------
    scene : Scene
        Of which magnification, white, light slope and the lens' turn matter.
    f_number : float
        Marked f-number.
    seed : int
        Of the noise.
    """
    light, truth = flat_light(lens, camera, panel, scene, f_number)
    return camera.expose(light, name, seed, Exposure(MODEL, scene.shutter_s, scene.iso)), truth


def flat_light(
    lens: Lens, camera: Camera, panel: Panel, scene: Scene, f_number: float
) -> tuple[NDArray[np.float32], FlatTruth]:
    """The same without the camera's noise: light over what clips the most sensitive channel, by sample."""
    projection = Projection(lens, camera, scene)
    effective = float(effective_f_number(f_number, scene.magnification, lens.pupil_ratio))
    canvas = camera.blank()
    width, height = camera.size
    for channel in camera.channels:
        light = light_image(projection, f_number, channel, panel)
        for samples, (rows, columns) in channel_parts(canvas, channel, Patch(0, 0, width, height)):
            samples += scene.white * light.at(np.arange(width)[columns], np.arange(height)[rows])
    marks = add_dirt(canvas, dirt_in_picture(projection, panel), camera, effective)
    add_glare(canvas, lens.glare)
    return canvas.samples, _truth(projection, f_number, marks, effective)


def _truth(projection: Projection, f_number: float, marks: list[MarkTruth], effective: float) -> FlatTruth:
    width, height = projection.camera.size
    x, y = np.linspace(0, width - 1, 97), np.linspace(0, height - 1, 65)
    grid = np.meshgrid(x, y)
    centre = projection.of_lens(projection.lens.decentre_mm) + projection.of_lens(
        projection.lens.light_decentre_mm
    )
    brightest_x, brightest_y = projection.pixels(projection.distorted_mm(centre))
    return FlatTruth(
        x=x,
        y=y,
        stops={
            name: _veiled(falloff_stops(projection, f_number, name, *grid), projection.lens.glare)
            for name in projection.camera.channels
        },
        centre_px=(float(brightest_x), float(brightest_y)),
        marks=marks,
        effective_f_number=effective,
    )


def _veiled(stops: NDArray[np.float64], glare: float) -> NDArray[np.float64]:
    """Falloff at a grid over the whole frame with a part of the mean light laid evenly over it."""
    light = 2.0**-stops
    mean = np.average(
        np.average(light, axis=0, weights=ends_halved(light.shape[0])), weights=ends_halved(light.shape[1])
    )
    return -np.log2(((1 - glare) * light + glare * mean) / (1 - glare + glare * mean))


def ends_halved(count: int) -> NDArray[np.float64]:
    """Weights of evenly spaced positions from one end to the other: the ends count half."""
    weights = np.ones(count)
    weights[[0, -1]] = 0.5
    return weights
