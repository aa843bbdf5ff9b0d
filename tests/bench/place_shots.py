"""Simulated target shots, found and measured, with the true places of colours: what both place benches need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses, measure_edges, tile_edges
from lensbench.shot import Shot
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.outlines import incentres
from lensbench.simulator.projection import Projection
from lensbench.simulator.scene import Scene
from lensbench.simulator.target_shot import TargetTruth, displacement_px, target_shot
from lensbench.target.finder import FoundTiles, find_tiles
from lensbench.target.layout import Layout, make_layout

FULL, SMALL = Camera(), Camera(size=(3000, 2000), sensor_mm=(18.0, 12.0))
"""24 megapixels, and a quarter of it with the same pixels, for a quick look."""


@dataclass(frozen=True, eq=False)
class Taken:
    """One shot with all that was found and all that is true."""

    lens: Lens
    camera: Camera
    scene: Scene
    layout: Layout
    shot: Shot
    truth: TargetTruth
    found: FoundTiles
    responses: dict[str, EdgeResponses]

    @property
    def projection(self) -> Projection:
        return Projection(self.lens, self.camera, self.scene)

    def true_shifts(self, channel: str) -> NDArray:
        """Displacement at every true tile's incentre: the colour's own, and what lopsided blur adds."""
        rows = {place: i for i, place in enumerate(zip(self.layout.column, self.layout.row, strict=True))}
        index = [rows[place] for place in zip(self.truth.column, self.truth.row, strict=True)]
        place, edges = incentres(self.layout.corners_mm[index]), self.truth.edges
        own, green = (self.projection.to_picture(place, name) for name in (channel, "green"))
        moved = {name: edges.crossing_px[name] - edges.middle_px[name] for name in (channel, "green")}
        return own - green + displacement_px(edges.normal, moved[channel] - moved["green"])

    def rows_of_truth(self, column: NDArray, row: NDArray) -> NDArray:
        """Where in the truth's arrays some tiles stand."""
        places = {place: i for i, place in enumerate(zip(self.truth.column, self.truth.row, strict=True))}
        return np.array([places[place] for place in zip(column, row, strict=True)])


def take(
    lens: Lens,
    camera: Camera,
    scene: Scene | None = None,
    f_number: float = 5.6,
    seed: int = 1,
    layout: Layout | None = None,
) -> Taken:
    """Simulate, find and measure one shot."""
    scene = scene or Scene()
    layout = layout or make_layout(camera.sensor_mm, scene.magnification)
    shot, truth = target_shot(lens, camera, layout, scene, f_number, seed)
    found = find_tiles(shot, layout)
    return Taken(lens, camera, scene, layout, shot, truth, found, measure_edges(shot, tile_edges(found)))
