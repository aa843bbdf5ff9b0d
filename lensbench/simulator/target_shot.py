"""A shot of the set-square target, with the truth about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.frame import radial_axes
from lensbench.shot import Exposure, Shot
from lensbench.simulator.camera import MODEL, Camera
from lensbench.simulator.dirt import MarkTruth
from lensbench.simulator.drawing import EdgeTruth, Piece, draw
from lensbench.simulator.lens import Lens
from lensbench.simulator.local_optics import LocalOptics
from lensbench.simulator.outlines import incentres, spread_triangles
from lensbench.simulator.projection import Projection
from lensbench.simulator.scene import Scene
from lensbench.target.layout import LEG_CORNERS, Layout


@dataclass(frozen=True, eq=False)
class TargetTruth:
    """What a perfect measurement of a target shot would find. T tiles, of which any part is in the frame.

    Attributes
    ----------
    column, row : ndarray of int, shape (T,)
        Lattice position.
    whole : ndarray of bool, shape (T,)
        Whether all three corners are in the frame.
    corners_px : dict of str to ndarray, shape (T, 3, 2)
        By channel: the designed corners in the picture, ink spread and blur apart.
    edges : EdgeTruth
        Of the tiles (positions are incentres) and their legs, in the order of `LEGS`, ink spread included.
    lateral_px : dict of str to ndarray, shape (T, 2)
        For each channel but the reference, (dx, dy) against it at the tile's position, or the nearest in the
        frame: where the lens puts that position, and what asymmetric blur adds by moving the half crossings (a
        common offset of the three apart).
    marks : list of MarkTruth
        Dirt on lens and sensor.
    magnification : float
        On the axis, from the sheet as designed times the printer's scale, at the sheet's present distance.
    effective_f_number, image_distance_mm : float
        N(1 + m/P) and f(1 + m/P) with the magnification that the lens is focused for.
    size : (int, int)
        Width and height of the frame.
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    whole: NDArray[np.bool_]
    corners_px: dict[str, NDArray[np.float64]]
    edges: EdgeTruth
    lateral_px: dict[str, NDArray[np.float64]]
    marks: list[MarkTruth]
    magnification: float
    effective_f_number: float
    image_distance_mm: float
    size: tuple[int, int]

    def radial_around_px(self, channel: str) -> NDArray[np.float64]:
        """Lateral colour outward and anticlockwise as seen, shape (T, 2)."""
        x, y = _in_frame(self.edges.place_px, self.size).T
        axes = np.stack(radial_axes(x, y, self.size), axis=1)
        return np.sum(self.lateral_px[channel][:, None] * axes, axis=-1)


def target_shot(
    lens: Lens,
    camera: Camera,
    layout: Layout,
    scene: Scene,
    f_number: float,
    seed: int = 0,
    name: str = "target.dng",
    jobs: int = 1,
) -> tuple[Shot, TargetTruth]:
    """Photograph the target.

    Parameters
    ----------
    f_number : float
        Marked f-number.
    seed : int
        Of the noise and the print's raggedness.
    jobs : int
        Processes that share the tiles.

    Returns
    -------
    Shot, TargetTruth
    """
    light, truth = target_light(lens, camera, layout, scene, f_number, seed, jobs)
    return camera.expose(light, name, seed, Exposure(MODEL, scene.shutter_s, scene.iso)), truth


def target_light(
    lens: Lens, camera: Camera, layout: Layout, scene: Scene, f_number: float, seed: int = 0, jobs: int = 1
) -> tuple[NDArray[np.float32], TargetTruth]:
    """The same without the camera's noise: light over what clips the most sensitive channel, by sample."""
    projection = Projection(lens, camera, scene)
    seen = _near_frame(projection, layout, BESIDE_PX)
    optics = LocalOptics(projection, f_number)
    light, edges, marks = draw(optics, [_piece(layout, tile, scene) for tile in seen], seed, jobs)
    inside = _near_frame(projection, layout, 0.0)
    return light, _truth(optics, layout, inside, edges.of(np.isin(seen, inside)), marks)


BESIDE_PX = 60.0
"""Tiles this far beyond the frame's border still blur into it."""


def _near_frame(projection: Projection, layout: Layout, beside_px: float) -> NDArray[np.int64]:
    """The tiles that reach into the frame or no farther from it than given."""
    corners = projection.to_picture(layout.corners_mm, projection.camera.reference)
    low, high = -0.5 - beside_px, np.array(projection.camera.size) - 0.5 + beside_px
    return np.flatnonzero((corners.max(axis=1) > low).all(axis=1) & (corners.min(axis=1) < high).all(axis=1))


def _piece(layout: Layout, tile: int, scene: Scene) -> Piece:
    corners = layout.corners_mm[tile]
    printed = spread_triangles(corners, scene.print.ink_spread_mm)
    trap = (int(layout.column[tile]), int(layout.row[tile])) in scene.print.light_traps
    darkness = 1 / (1 - scene.print.black) if trap else 1.0
    return Piece(printed, LEG_CORNERS, incentres(corners), int(tile), darkness)


def _truth(
    optics: LocalOptics, layout: Layout, tiles: NDArray, edges: EdgeTruth, marks: list[MarkTruth]
) -> TargetTruth:
    projection = optics.projection
    channels, reference = projection.camera.channels, projection.camera.reference
    corners = {name: projection.to_picture(layout.corners_mm[tiles], name) for name in channels}
    low, high = corners[reference].min(axis=1), corners[reference].max(axis=1)
    places = _on_sheet(
        _in_frame(edges.place_px, projection.camera.size), corners[reference], layout.corners_mm[tiles]
    )
    seen = {name: _seen_px(projection, places, edges, name) for name in channels}
    return TargetTruth(
        column=layout.column[tiles],
        row=layout.row[tiles],
        whole=((low >= -0.5) & (high <= np.array(projection.camera.size) - 0.5)).all(axis=1),
        corners_px=corners,
        edges=edges,
        lateral_px={name: seen[name] - seen[reference] for name in channels if name != reference},
        marks=marks,
        magnification=projection.magnification,
        effective_f_number=optics.iris.effective,
        image_distance_mm=projection.image_distance_mm,
        size=projection.camera.size,
    )


def _in_frame(place_px: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.float64]:
    """The positions, or where one is outside the frame the nearest inside."""
    return np.clip(place_px, 0, np.array(size) - 1)


def _on_sheet(place_px: NDArray, corners_px: NDArray, corners_mm: NDArray) -> NDArray[np.float64]:
    """Where positions in or beside tiles lie on the sheet, a tile being small enough to count as flat."""
    legs_px, legs_mm = (corners[:, 1:] - corners[:, :1] for corners in (corners_px, corners_mm))
    share = np.linalg.solve(legs_px.swapaxes(1, 2), (place_px - corners_px[:, 0])[..., None])
    return corners_mm[:, 0] + (legs_mm * share).sum(axis=1)


def _seen_px(projection: Projection, position_mm: NDArray, edges: EdgeTruth, channel: str) -> NDArray[np.float64]:
    """Where a channel shows the tiles' positions: the lens's shift there, and that of its half crossings.

    The middles of the edges would not do: where the shift changes over a tile they disagree about its position.
    """
    lopsided = displacement_px(edges.normal, edges.crossing_px[channel] - edges.middle_px[channel])
    return projection.to_picture(position_mm, channel) + lopsided


def displacement_px(normal: NDArray[np.float64], moved: NDArray[np.float64]) -> NDArray[np.float64]:
    """The vector by which three edges moved, a common offset along their normals apart.

    Parameters
    ----------
    normal, moved : ndarray, shape (tiles, 3, 2)
        Outward unit normals, and how a point of each edge moved.

    Returns
    -------
    ndarray, shape (tiles, 2)
    """
    along = np.sum(normal * moved, axis=-1)
    system = np.concatenate([normal, np.ones((*normal.shape[:-1], 1))], axis=-1)
    return np.linalg.solve(system, along[..., None])[..., :2, 0]
