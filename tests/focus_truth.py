"""What is true along a rail: a place's sharpness at any reading, and where it is sharpest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from lensbench.frame import radial_axes
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.local_optics import LocalOptics
from lensbench.simulator.projection import Projection
from lensbench.simulator.response import mtf50_along
from lensbench.simulator.scene import Scene

FINE = 2001


@dataclass(frozen=True, eq=False)
class FocusTruth:
    """Places of the sheet followed along the rail.

    Attributes
    ----------
    away_mm : ndarray, shape (steps,)
        How much farther than the scene the sheet stands.
    mtf50 : ndarray, shape (places, 2, steps)
        Of sagittal and of tangential edges, cy/px.
    """

    away_mm: NDArray[np.float64]
    mtf50: NDArray[np.float64]

    def at(self, away_mm: ArrayLike) -> NDArray[np.float64]:
        """MTF50 at other places along the rail, shape (places, 2, ...)."""
        return CubicSpline(self.away_mm, self.mtf50, axis=2)(away_mm)

    def best(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Where each is sharpest and how sharp it is there, shape (places, 2) each; NaN at the series' ends."""
        fine = np.linspace(self.away_mm[0], self.away_mm[-1], FINE)
        level = self.at(fine)
        top = np.argmax(level, axis=2)
        inside = (top > 0) & (top < FINE - 1)
        return np.where(inside, fine[top], np.nan), np.where(inside, level.max(axis=2), np.nan)


def focus_truth(
    lens: Lens,
    camera: Camera,
    scene: Scene,
    f_number: float,
    position_mm: ArrayLike,
    away_mm: ArrayLike,
    channel: str = "green",
) -> FocusTruth:
    """Follow places of the sheet along the rail by the lens's own pupil.

    Parameters
    ----------
    position_mm : array_like, shape (places, 2)
        On the designed sheet.
    away_mm : array_like, shape (steps,)
        Close enough together for a spline: half of the depth of field to one side.
    """
    away, places = np.asarray(away_mm, float), np.asarray(position_mm, float)
    mtf50 = np.empty((len(places), 2, len(away)))
    for step, far in enumerate(away):
        projection = Projection(lens, camera, replace(scene, rail_mm=scene.rail_mm + float(far)))
        optics = LocalOptics(projection, f_number)
        outward, around = radial_axes(*projection.to_picture(places, channel).T, camera.size)
        for i, place in enumerate(places):
            mtf50[i, :, step] = mtf50_along(optics.response(channel, place), np.stack([around[i], outward[i]]))[0]
    return FocusTruth(away, mtf50)
