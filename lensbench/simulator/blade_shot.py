"""A shot of clean straight edges (blades, foil against a light), with the truth about it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Exposure, Shot
from lensbench.simulator.camera import MODEL, Camera
from lensbench.simulator.drawing import EdgeTruth, Piece, draw
from lensbench.simulator.lens import Lens
from lensbench.simulator.place_optics import PlaceOptics
from lensbench.simulator.projection import Projection
from lensbench.simulator.scene import Scene


def blade_shot(
    lens: Lens,
    camera: Camera,
    blades_mm: list[NDArray[np.float64]],
    scene: Scene,
    f_number: float,
    seed: int = 0,
    name: str = "blade.dng",
    jobs: int = 1,
) -> tuple[Shot, EdgeTruth]:
    """Photograph dark blades before a light.

    Parameters
    ----------
    blades_mm : list of ndarray, shape (n, 2)
        Corners of convex outlines in order, given as a sheet's places are: millimetres from its centre. All
        have the same number of corners. One blade is blurred alike all over, as the lens does at its middle.
    f_number : float
        Marked f-number.

    Returns
    -------
    Shot
    EdgeTruth
        Edge i joins corner i and the next.
    """
    count = len(blades_mm[0])
    edges = tuple((i, (i + 1) % count) for i in range(count))
    blades = [np.asarray(corners, dtype=np.float64) for corners in blades_mm]
    pieces = [Piece(corners, edges, corners.mean(axis=0), number) for number, corners in enumerate(blades)]
    light, truth, _ = draw(PlaceOptics(Projection(lens, camera, scene), f_number), pieces, seed, jobs)
    return camera.expose(light, name, seed, Exposure(MODEL, scene.shutter_s, scene.iso)), truth


def blade_at(
    middle_mm: tuple[float, float], angle_deg: float, size_mm: tuple[float, float]
) -> NDArray[np.float64]:
    """Corners of a rectangular blade whose first edge runs at an angle, anticlockwise as seen from x right."""
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    along, across = np.array([cos, -sin]) * size_mm[0] / 2, np.array([sin, cos]) * size_mm[1] / 2
    return np.array(middle_mm) + np.array([-along - across, along - across, along + across, across - along])
