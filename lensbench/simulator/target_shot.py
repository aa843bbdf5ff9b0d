"""A shot of the set-square target, with the truth about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from lensbench.frame import radial_axes
from lensbench.shot import Exposure, Shot
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.light import add_glare, light_image
from lensbench.simulator.projection import Projection
from lensbench.simulator.rendering import (
    Patch,
    Skirt,
    blurred_polygon,
    channel_parts,
    patch_around,
    skirt_on_coarse,
)
from lensbench.simulator.response import Response, half_crossing_px, mtf50_along
from lensbench.simulator.scene import Scene
from lensbench.simulator.tiles import TileOptics, outline_mm, parts_of_side, spread_corners
from lensbench.target.layout import LEG_CORNERS, Layout

SKIRT_PX = 8.0
"""Radius of the narrower skirt that is taken out of the tiles' own blur."""

MARGIN_PX = 36.0
"""A patch reaches this far beyond a tile and its blur."""

FREQUENCIES = np.linspace(0, 1, 101)
"""Where the truth gives contrast, cy/px."""


@dataclass(frozen=True, eq=False)
class TargetTruth:
    """What a perfect measurement of a target shot would find. T tiles, of which any part is in the frame.

    Attributes
    ----------
    column, row : ndarray of int, shape (T,)
        Lattice place.
    whole : ndarray of bool, shape (T,)
        Whether all three corners are in the frame.
    place_px : ndarray, shape (T, 2)
        The tile's incentre in the reference channel.
    corners_px : dict of str to ndarray, shape (T, 3, 2)
        By channel: the designed corners in the picture, ink spread and blur apart.
    crossing_px : dict of str to ndarray, shape (T, 3, 2)
        By channel: where the profile across the middle of each of `LEGS` crosses half. Ink spread is in it, and
        so is lopsided blur (coma), which moves the half away from the printed edge.
    normal : ndarray, shape (T, 3, 2)
        Unit normals of the legs at their middles, from ink to paper.
    angle_deg : ndarray, shape (T, 3)
        The way each leg runs, anticlockwise as seen from x right, 0 to 180.
    mtf50 : dict of str to ndarray, shape (T, 3)
        Of lens, pixel and shake together, cy/px; NaN where contrast never falls to half.
    lens_mtf50 : dict of str to ndarray, shape (T, 3)
        The same without the pixel.
    frequencies : ndarray, shape (F,)
        cy/px.
    mtf : dict of str to ndarray, shape (T, 3, F)
        Contrast along each leg's normal. The print's raggedness, if any, is not in it.
    lateral_px : dict of str to ndarray, shape (T, 2)
        For each other channel, (dx, dy) against the reference: the displacement of the three half crossings,
        a common offset of the three apart.
    magnification : float
        On the axis, sheet as designed times the printer's scale to the sensor.
    effective_f_number, image_distance_mm : float
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    whole: NDArray[np.bool_]
    place_px: NDArray[np.float64]
    corners_px: dict[str, NDArray[np.float64]]
    crossing_px: dict[str, NDArray[np.float64]]
    normal: NDArray[np.float64]
    angle_deg: NDArray[np.float64]
    mtf50: dict[str, NDArray[np.float64]]
    lens_mtf50: dict[str, NDArray[np.float64]]
    frequencies: NDArray[np.float64]
    mtf: dict[str, NDArray[np.float64]]
    lateral_px: dict[str, NDArray[np.float64]]
    magnification: float
    effective_f_number: float
    image_distance_mm: float
    size: tuple[int, int]

    def radial_around_px(self, channel: str) -> NDArray[np.float64]:
        """Lateral colour outward and anticlockwise as seen, shape (T, 2)."""
        outward, around = radial_axes(*self.place_px.T, self.size)
        vector = self.lateral_px[channel]
        return np.stack([np.sum(vector * outward, axis=-1), np.sum(vector * around, axis=-1)], axis=-1)


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
    exposure = Exposure("Bench Simulator", scene.shutter_s, scene.iso)
    return camera.expose(light, name, seed, exposure), truth


def target_light(
    lens: Lens, camera: Camera, layout: Layout, scene: Scene, f_number: float, seed: int = 0, jobs: int = 1
) -> tuple[NDArray[np.float32], TargetTruth]:
    """The same without the camera's noise: light over what clips the most sensitive channel, by sample."""
    projection = Projection(lens, camera, scene)
    optics = TileOptics(projection, f_number)
    tiles = _tiles_in_frame(projection, layout)
    shares = np.array_split(tiles, jobs)
    done = Parallel(n_jobs=jobs)(delayed(_drawn)(optics, layout, share, seed) for share in shares if len(share))
    canvas = camera.blank()
    for samples, _ in done:
        canvas.samples[...] += samples
    _add_skirts(canvas, optics, layout)
    _lit(canvas, projection, f_number)
    truth = _truth(optics, layout, tiles, [facts for _, share in done for facts in share])
    return canvas.samples, truth


def _tiles_in_frame(projection: Projection, layout: Layout) -> NDArray[np.int64]:
    """The tiles of which something can be seen, in the order of the layout."""
    reference = projection.camera.reference
    corners = projection.to_picture(layout.corners_mm, reference)
    low, high = corners.min(axis=1), corners.max(axis=1)
    width, height = projection.camera.size
    return np.flatnonzero(
        (high[:, 0] > -0.5) & (low[:, 0] < width - 0.5) & (high[:, 1] > -0.5) & (low[:, 1] < height - 0.5)
    )


@dataclass(frozen=True, eq=False)
class _TileFacts:
    """Truth of one tile, by channel."""

    mtf50: dict[str, NDArray]
    lens_mtf50: dict[str, NDArray]
    mtf: dict[str, NDArray]
    shift_px: dict[str, NDArray]


def _drawn(optics: TileOptics, layout: Layout, tiles: NDArray, seed: int) -> tuple[NDArray, list[_TileFacts]]:
    """Ink of some tiles on the samples, skirts apart, and what is true of each."""
    canvas = optics.projection.camera.blank()
    facts = []
    for tile in tiles:
        corners = layout.corners_mm[tile]
        responses = _responses(optics, corners)
        _draw_tile(canvas, optics, corners, responses, np.random.default_rng([seed, 3, tile]))
        facts.append(_tile_facts(responses, _normals(optics.projection, corners[None])[0]))
    return canvas.samples, facts


def _responses(optics: TileOptics, corners_mm: NDArray) -> dict[str, Response]:
    bent, depth = _place(optics.projection, corners_mm)
    return {name: optics.response(name, bent, depth) for name in optics.projection.camera.channels}


def _place(projection: Projection, corners_mm: NDArray) -> tuple[NDArray, float]:
    """Where a tile's incentre lies on the sensor (nominal colour), and how deep on the sheet's side."""
    incentre = incentres(corners_mm)
    return projection.bent_mm(projection.ideal_mm(incentre)), float(projection.placed(incentre)[2])


def incentres(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Incentres of triangles, shape (..., 3, 2) to (..., 2)."""
    sides = np.linalg.norm(np.roll(corners, -1, axis=-2) - np.roll(corners, 1, axis=-2), axis=-1)
    return np.sum(corners * sides[..., None], axis=-2) / sides.sum(axis=-1, keepdims=True)


def _draw_tile(
    canvas: Shot, optics: TileOptics, corners_mm: NDArray, responses: dict[str, Response], rng: np.random.Generator
) -> None:
    projection = optics.projection
    outline = outline_mm(corners_mm, projection.scene.print, _parts(projection, corners_mm), rng)
    bent, depth = _place(projection, corners_mm)
    for channel, response in responses.items():
        vertices = projection.to_picture(outline, channel)
        margin = np.ceil(MARGIN_PX + optics.reach_px(channel, bent, depth))
        patch = patch_around(vertices, margin, canvas.size)
        if patch is not None:
            image = blurred_polygon(vertices, patch, response, Skirt.of(response.surround, SKIRT_PX))
            for samples, taken in channel_parts(canvas, channel, patch):
                samples += image[taken]


def _parts(projection: Projection, corners_mm: NDArray) -> int:
    middles = (corners_mm + np.roll(corners_mm, -1, axis=0)) / 2
    reference = projection.camera.reference
    return parts_of_side(*(projection.to_picture(places, reference) for places in (corners_mm, middles)))


def _tile_facts(responses: dict[str, Response], normals: NDArray) -> _TileFacts:
    f = FREQUENCIES[:, None] * normals[:, None]
    return _TileFacts(
        {name: mtf50_along(r, normals) for name, r in responses.items()},
        {name: mtf50_along(r, normals, pixel=False) for name, r in responses.items()},
        {name: np.abs(r.along(f[..., 0], f[..., 1])) for name, r in responses.items()},
        {name: half_crossing_px(r, normals) for name, r in responses.items()},
    )


def _normals(projection: Projection, corners_mm: NDArray) -> NDArray[np.float64]:
    """Unit normals from ink to paper at the middles of the legs, shape (tiles, 3, 2), in the picture."""
    ends = corners_mm[:, np.array(LEG_CORNERS)]
    near = ends.mean(axis=2, keepdims=True) + (ends - ends.mean(axis=2, keepdims=True)) * 1e-3
    reference = projection.camera.reference
    along = np.diff(projection.to_picture(near, reference), axis=2)[:, :, 0]
    normal = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    middle = projection.to_picture(ends.mean(axis=2), reference)
    inside = projection.to_picture(incentres(corners_mm), reference)[:, None]
    return normal * np.sign(np.sum((middle - inside) * normal, axis=-1, keepdims=True))


def _add_skirts(canvas: Shot, optics: TileOptics, layout: Layout) -> None:
    """Add the far skirts of all tiles, those beyond the frame's border too."""
    projection = optics.projection
    corners = spread_corners(layout.corners_mm, projection.scene.print.ink_spread_mm)
    width, height = canvas.size
    whole = Patch(0, 0, width, height)
    for channel in canvas.channels:
        skirt = Skirt.of(optics.surround(channel), SKIRT_PX)
        if skirt is None:
            continue
        coarse = skirt_on_coarse(list(projection.to_picture(corners, channel)), skirt, canvas.size)
        for samples, (rows, columns) in channel_parts(canvas, channel, whole):
            samples += coarse.at(np.arange(width)[columns], np.arange(height)[rows])


def _lit(canvas: Shot, projection: Projection, f_number: float) -> None:
    """Ink to light: paper and ink under the light that the lens passes, and glare."""
    scene = projection.scene
    width, height = canvas.size
    for channel in canvas.channels:
        light = light_image(projection, f_number, channel)
        for samples, (rows, columns) in channel_parts(canvas, channel, Patch(0, 0, width, height)):
            samples *= np.float32(scene.print.black - 1)
            samples += 1
            samples *= scene.white * light.at(np.arange(width)[columns], np.arange(height)[rows])
    add_glare(canvas, projection.lens.glare)


def _truth(optics: TileOptics, layout: Layout, tiles: NDArray, facts: list[_TileFacts]) -> TargetTruth:
    projection = optics.projection
    corners_mm = layout.corners_mm[tiles]
    channels, reference = projection.camera.channels, projection.camera.reference
    corners = {name: projection.to_picture(corners_mm, name) for name in channels}
    normal = _normals(projection, corners_mm)
    printed = spread_corners(corners_mm, projection.scene.print.ink_spread_mm)[:, np.array(LEG_CORNERS)]
    shifts = {name: np.array([f.shift_px[name] for f in facts]).reshape(-1, 3) for name in channels}
    crossing = {
        name: projection.to_picture(printed.mean(axis=2), name) + shifts[name][..., None] * normal
        for name in channels
    }
    low, high = corners[reference].min(axis=1), corners[reference].max(axis=1)
    return TargetTruth(
        column=layout.column[tiles],
        row=layout.row[tiles],
        whole=((low >= -0.5) & (high <= np.array(projection.camera.size) - 0.5)).all(axis=1),
        place_px=projection.to_picture(incentres(corners_mm), reference),
        corners_px=corners,
        crossing_px=crossing,
        normal=normal,
        angle_deg=np.degrees(np.arctan2(normal[..., 0], normal[..., 1])) % 180,
        mtf50={name: np.array([f.mtf50[name] for f in facts]).reshape(-1, 3) for name in channels},
        lens_mtf50={name: np.array([f.lens_mtf50[name] for f in facts]).reshape(-1, 3) for name in channels},
        frequencies=FREQUENCIES,
        mtf={name: np.array([f.mtf[name] for f in facts]) for name in channels},
        lateral_px={
            name: displacement_px(normal, crossing[name] - crossing[reference])
            for name in channels
            if name != reference
        },
        magnification=projection.magnification,
        effective_f_number=optics.iris.effective,
        image_distance_mm=projection.image_distance_mm,
        size=projection.camera.size,
    )


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
