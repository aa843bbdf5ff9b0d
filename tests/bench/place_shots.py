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

    def true_shifts(self, channel: str, tiles: NDArray, place_px: NDArray) -> NDArray:
        """Displacement of some true tiles at places in green's picture: the colour's own, and what coma adds.

        The place matters: bending keeps no incentre an incentre, and strong fringing changes within a pixel.
        """
        rows = {place: i for i, place in enumerate(zip(self.layout.column, self.layout.row, strict=True))}
        index = [rows[place] for place in zip(self.truth.column[tiles], self.truth.row[tiles], strict=True)]
        sheet = self._on_sheet(incentres(self.layout.corners_mm[index]), place_px)
        own, green = (self.projection.to_picture(sheet, name) for name in (channel, "green"))
        edges = self.truth.edges
        moved = {name: edges.crossing_px[name] - edges.middle_px[name] for name in (channel, "green")}
        return own - green + displacement_px(edges.normal, moved[channel] - moved["green"])[tiles]

    def _on_sheet(self, start_mm: NDArray, place_px: NDArray) -> NDArray:
        """Where on the sheet places of green's picture lie, by Newton's method from places near them."""
        sheet = start_mm
        for _ in range(4):
            here = self.projection.to_picture(sheet, "green")
            steps = np.eye(2) * 0.01
            slopes = [(self.projection.to_picture(sheet + step, "green") - here) / 0.01 for step in steps]
            sheet = sheet + np.linalg.solve(np.stack(slopes, axis=-1), (place_px - here)[..., None])[..., 0]
        return sheet

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
