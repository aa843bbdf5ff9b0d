"""Edges of a target as a simulated aberrated lens puts them, by the lens's own pupil, without rendering a shot.

Where an edge's profile crosses half follows from the response of the lens at its place (`half_crossing_px`), so
thousands of shots cost no more than their pupils; noise is put on as the analysers measure it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge._measure import EdgeResponses
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.local_optics import LocalOptics
from lensbench.simulator.outlines import incentres
from lensbench.simulator.projection import Projection
from lensbench.simulator.response import half_crossing_px
from lensbench.simulator.scene import Scene
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS, Layout
from tests.analysers.geometry.invented_lines import responses_at

SIGMA_PX = 0.012
"""Noise of an edge's place: that of green in a 24-megapixel frame at base ISO (study: `tests/bench/edges.py`)."""

MIDDLE_BESIDES = np.sqrt(1.5**2 - 1)
"""What the middle of an edge scatters by besides its mean place, over that: the middle of a parabola by least
squares on even samples has 3/2 of the mean's standard deviation (closed form)."""


@dataclass(frozen=True, eq=False)
class AberratedShot:
    """The whole tiles of one shot: their edges' middles and half crossings by channel, without noise.

    `middle` and `normal` have the shape (tiles, 3, 2), the crossings (tiles, 3).
    """

    layout: Layout
    tiles: NDArray[np.int64]
    corners: NDArray[np.float64]
    middle: NDArray[np.float64]
    normal: NDArray[np.float64]
    offset: dict[str, NDArray[np.float64]]

    def measured(self, seed: int, sigma_px: float = SIGMA_PX) -> tuple[FoundTiles, dict[str, EdgeResponses]]:
        """Tiles found and edges measured, with noise; red's and blue's are twice as uncertain as green's."""
        rng = np.random.default_rng(seed)
        column, row = self.layout.column[self.tiles], self.layout.row[self.tiles]
        found = FoundTiles(column, row, self.corners, np.ones(len(column), bool), False)
        responses = {}
        for name, offset in self.offset.items():
            sigma = sigma_px * (1 if name in ("green", "grey") else 2)
            seen = offset + sigma * rng.standard_normal(offset.shape)
            # The point of an edge lies on the edge as measured, offset and all (as the analyser gives it).
            middle = seen + sigma * MIDDLE_BESIDES * rng.standard_normal(offset.shape)
            point = self.middle + middle[..., None] * self.normal
            responses[name] = responses_at(point.reshape(-1, 2), self.normal.reshape(-1, 2), seen.ravel(), sigma)
        return found, responses


def aberrated_shot(lens: Lens, camera: Camera, layout: Layout, scene: Scene, f_number: float) -> AberratedShot:
    """Where the lens puts every edge of the whole tiles in the frame, in each channel."""
    projection = Projection(lens, camera, scene)
    reference = camera.reference
    corners = projection.to_picture(layout.corners_mm, reference)
    inside = ((corners > 0) & (corners < np.array(camera.size) - 1)).all(axis=(1, 2))
    tiles = np.flatnonzero(inside)
    ends = layout.corners_mm[tiles][:, np.asarray(LEG_CORNERS)]
    middle_mm, places = ends.mean(axis=2), incentres(layout.corners_mm[tiles])
    along_mm = 1e-3 * (ends[:, :, 1] - ends[:, :, 0])
    middle = projection.to_picture(middle_mm, reference)
    tangent = projection.to_picture(middle_mm + along_mm, reference) - middle
    normal = (
        np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1) / np.hypot(*np.moveaxis(tangent, -1, 0))[..., None]
    )
    out = middle - projection.to_picture(places, reference)[:, None]
    normal *= np.sign((out * normal).sum(axis=-1))[..., None]
    optics = LocalOptics(projection, f_number)
    offset = {}
    for name in camera.channels:
        own = ((projection.to_picture(middle_mm, name) - middle) * normal).sum(axis=-1)
        crossing = [
            half_crossing_px(optics.response(name, place), ways)
            for place, ways in zip(places, normal, strict=True)
        ]
        offset[name] = own + np.array(crossing)
    return AberratedShot(layout, tiles, corners[tiles], middle, normal, offset)
