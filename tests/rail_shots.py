"""A simulated series along a rail, rendered, found and measured, with the truth by the lens's own pupil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.focus import FocusShot, Sheet, measure_focus
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Focus
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.outlines import incentres
from lensbench.simulator.scene import Scene
from lensbench.simulator.target_shot import target_shot
from lensbench.target.finder import find_tiles
from lensbench.target.layout import Layout, make_layout
from tests.analysers.focus.invented_focus import STRAIGHT
from tests.focus_truth import FocusTruth, focus_truth
from tests.rail_series import rail_series
from tests.simulator.benches import grey_camera


@dataclass(frozen=True, eq=False)
class Series:
    """What a series shows, and what is true of it.

    `truth` follows `tiles`; its places are how much farther the sheet stands, whatever the rail's scale says.
    `centre` is where the centre's best focus was found, in the same.
    """

    focus: Focus
    truth: FocusTruth
    centre: float
    tiles: list[tuple[int, int]]
    channel: str

    def figures(self, name: str) -> tuple[NDArray, NDArray, NDArray]:
        """One figure of the tiles, both directions: value, half width and truth, shape (n,); without blanks."""
        best, peak = self.truth.best()
        there = self.truth.at(self.centre)
        truth = {"best_mm": best - self.centre, "mtf50_at_best": peak, "mtf50_at_centre": there}[name]
        rows = []
        for tile in self.focus.tiles:
            figure = getattr(tile, name)
            if figure and tile.channel == self.channel and (tile.column, tile.row) in self.tiles:
                place = self.tiles.index((tile.column, tile.row)), ("sagittal", "tangential").index(tile.direction)
                rows.append((figure.value, figure.half_width, truth[place]))
        value, half, true = np.array(rows).T
        return value[np.isfinite(true)], half[np.isfinite(true)], true[np.isfinite(true)]


def series_of(
    lens: Lens,
    scene: Scene,
    f_number: float,
    away_mm: Sequence[float],
    truth_mm: Sequence[float],
    camera: Camera | None = None,
    reading_mm: Sequence[float] | None = None,
    layout: Layout | None = None,
    every: int = 1,
) -> Series:
    """Render a series and measure it.

    Parameters
    ----------
    away_mm, reading_mm : sequence of float
        How much farther than `scene` the sheet stands, and what the rail says (the same unless given).
    truth_mm : sequence of float
        Places at which the truth is reckoned, close and far enough for a spline through every peak.
    every : int
        The truth is reckoned for every so-manieth tile.
    """
    camera = camera or grey_camera((1500, 1000))
    layout = layout or make_layout(camera.sensor_mm, scene.magnification, "coarse")
    shots = []
    reading_mm = away_mm if reading_mm is None else reading_mm
    for take in rail_series("r", f_number, scene, away_mm, reading_mm):
        shot, _ = target_shot(lens, camera, layout, take.scene, f_number, take.seed, take.file)
        found = find_tiles(shot, layout)
        edges = ShotEdges(shot.name, measure_edges(shot, tile_edges(found)), found)
        shots.append(FocusShot(shot.name, take.rail_mm, measure_sharpness([edges], camera.size).tiles))
    scale = scene.magnification / camera.pitch_mm
    focus = measure_focus(shots, camera.size, 1000 * camera.pitch_mm, Sheet(scale, scene.magnification, STRAIGHT))
    number_of = {tile: i for i, tile in enumerate(zip(layout.column.tolist(), layout.row.tolist(), strict=True))}
    tiles = sorted({(tile.column, tile.row) for tile in focus.tiles})[::every]
    places = incentres(layout.corners_mm[[number_of[tile] for tile in tiles]])
    truth = focus_truth(lens, camera, scene, f_number, places, truth_mm, camera.reference)
    centre = np.polyval(np.polyfit(reading_mm, away_mm, 1), focus.centre_rail_mm.value)
    return Series(focus, truth, float(centre), tiles, camera.reference)
