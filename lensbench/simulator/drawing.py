"""Printed (or cut) pieces to light on the samples, and what is true at the edges of each."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from lensbench.frame import radial_axes
from lensbench.shot import Shot
from lensbench.simulator.dirt import MarkTruth, add_dirt, dirt_in_picture
from lensbench.simulator.light import add_glare, light_image
from lensbench.simulator.local_optics import LocalOptics
from lensbench.simulator.outlines import outline_mm, parts_of_side
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

SKIRT_PX = 8.0
"""Radius of the skirt that is taken out of the pieces' own blur."""

MARGIN_PX = 24.0
"""A patch reaches this far beyond a piece and its blur."""

FREQUENCIES = np.linspace(0, 1, 101)
"""Where the truth gives contrast, cy/px."""


@dataclass(frozen=True, eq=False)
class Piece:
    """Something dark with straight sides on the sheet.

    Attributes
    ----------
    corners_mm : ndarray, shape (n, 2)
        Its corners in order.
    edges : tuple of (int, int)
        The corners that each of its edges joins.
    position_mm : ndarray, shape (2,)
        The place whose blur it gets.
    number : int
        Keeps its ragged edges the same whatever else is drawn.
    darkness : float
        How much light it takes away, over what the ink does: more than 1 for a hole over black.
    """

    corners_mm: NDArray[np.float64]
    edges: tuple[tuple[int, int], ...]
    position_mm: NDArray[np.float64]
    number: int
    darkness: float = 1.0


@dataclass(frozen=True, eq=False)
class EdgeTruth:
    """What is true of pieces' edges, P pieces of E edges.

    Attributes
    ----------
    place_px : ndarray, shape (P, 2)
        The piece's position in the reference channel.
    middle_px, crossing_px : dict of str to ndarray, shape (P, E, 2)
        By channel: the middle of each edge, and where the profile across it crosses half there. Asymmetric blur
        (coma) moves the half away from the edge.
    normal : ndarray, shape (P, E, 2)
        Unit normals of the edges at their middles, from dark to light.
    angle_deg : ndarray, shape (P, E)
        The direction of each edge, anticlockwise as seen from x right, 0 to 180.
    mtf50, lens_mtf50 : dict of str to ndarray, shape (P, E)
        Of lens, shake and pixel together, and without the pixel; cy/px; NaN where contrast never falls to half.
    sagittal_mtf50, tangential_mtf50 : dict of str to ndarray, shape (P,)
        Of an edge that lay exactly along the radius or across it.
    frequencies : ndarray, shape (F,)
        cy/px.
    mtf : dict of str to ndarray, shape (P, E, F)
        Contrast along each edge's normal. The print's raggedness, if any, is not in it.
    """

    place_px: NDArray[np.float64]
    middle_px: dict[str, NDArray[np.float64]]
    crossing_px: dict[str, NDArray[np.float64]]
    normal: NDArray[np.float64]
    angle_deg: NDArray[np.float64]
    mtf50: dict[str, NDArray[np.float64]]
    lens_mtf50: dict[str, NDArray[np.float64]]
    sagittal_mtf50: dict[str, NDArray[np.float64]]
    tangential_mtf50: dict[str, NDArray[np.float64]]
    frequencies: NDArray[np.float64]
    mtf: dict[str, NDArray[np.float64]]

    def of(self, chosen: NDArray[np.bool_]) -> EdgeTruth:
        """The truth of some of the pieces."""
        parts: dict[str, Any] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, dict):
                parts[item.name] = {name: by_piece[chosen] for name, by_piece in value.items()}
            else:
                parts[item.name] = value if item.name == "frequencies" else value[chosen]
        return EdgeTruth(**parts)


@dataclass(frozen=True, eq=False)
class _Facts:
    """Truth of one piece in one channel."""

    mtf50: NDArray[np.float64]
    lens_mtf50: NDArray[np.float64]
    mtf: NDArray[np.float64]
    shift_px: NDArray[np.float64]


def draw(
    optics: LocalOptics, pieces: list[Piece], seed: int = 0, jobs: int = 1
) -> tuple[NDArray[np.float32], EdgeTruth, list[MarkTruth]]:
    """Light on the samples, over what clips the most sensitive channel, when pieces lie on white paper.

    Pieces beyond the frame's border may be among them: their skirts reach in.

    Returns
    -------
    light : ndarray of float32
        As the camera's samples.
    truth : EdgeTruth
        Of the pieces in the order given.
    marks : list of MarkTruth
        Dirt on lens and sensor.
    """
    projection = optics.projection
    normals = np.array([_normals(projection, piece) for piece in pieces])
    shares = np.array_split(np.arange(len(pieces)), jobs)
    done = Parallel(n_jobs=jobs)(
        delayed(_drawn)(optics, [pieces[i] for i in share], normals[share], seed) for share in shares if len(share)
    )
    canvas = projection.camera.blank()
    for samples, _ in done:
        canvas.samples[...] += samples
    _add_skirts(canvas, optics, pieces)
    _light_up(canvas, projection, optics.iris.f_number)
    marks = add_dirt(canvas, dirt_in_picture(projection), projection.camera, optics.iris.effective)
    add_glare(canvas, projection.lens.glare)
    return canvas.samples, _truth(projection, pieces, normals, [f for _, facts in done for f in facts]), marks


def _drawn(
    optics: LocalOptics, pieces: list[Piece], normals: NDArray, seed: int
) -> tuple[NDArray[np.float32], list[dict[str, _Facts]]]:
    """Darkness of some pieces on the samples, skirts apart, and what is true of each by channel."""
    canvas = optics.projection.camera.blank()
    facts: list[dict[str, _Facts]] = []
    for piece, normal in zip(pieces, normals, strict=True):
        facts.append({})
        for channel in canvas.channels:
            response = optics.response(channel, piece.position_mm)
            _draw_piece(canvas, optics, piece, channel, response, seed)
            facts[-1][channel] = _facts(response, normal, optics.projection, piece)
    return canvas.samples, facts


def _draw_piece(
    canvas: Shot, optics: LocalOptics, piece: Piece, channel: str, response: Response, seed: int
) -> None:
    projection = optics.projection
    rng = np.random.default_rng([seed, 3, piece.number])
    outline = outline_mm(piece.corners_mm, projection.scene.print, _parts(projection, piece), rng)
    vertices = projection.to_picture(outline, channel)
    margin = int(np.ceil(MARGIN_PX + optics.reach_px(channel, piece.position_mm)))
    patch = patch_around(vertices, margin, canvas.size)
    if patch is not None:
        image = blurred_polygon(vertices, patch, response, Skirt.of(response.surround, SKIRT_PX))
        for samples, taken in channel_parts(canvas, channel, patch):
            samples += np.float32(piece.darkness) * image[taken]


def _parts(projection: Projection, piece: Piece) -> int:
    middles = (piece.corners_mm + np.roll(piece.corners_mm, -1, axis=0)) / 2
    reference = projection.camera.reference
    return parts_of_side(*(projection.to_picture(places, reference) for places in (piece.corners_mm, middles)))


def _facts(response: Response, normals: NDArray, projection: Projection, piece: Piece) -> _Facts:
    place = projection.to_picture(piece.position_mm, projection.camera.reference)
    outward, around = radial_axes(place[0], place[1], projection.camera.size)
    # An edge along the radius is blurred around the circle, and the other way round.
    ways = np.concatenate([normals, [around, outward]])
    f = FREQUENCIES[:, None] * normals[:, None]
    whole, lens = mtf50_along(response, ways)
    return _Facts(
        whole,
        lens[: len(normals)],
        np.abs(response.along(f[..., 0], f[..., 1])),
        half_crossing_px(response, normals),
    )


def _normals(projection: Projection, piece: Piece) -> NDArray[np.float64]:
    """Unit normals from dark to light at the middles of a piece's edges, shape (edges, 2), in the picture."""
    ends = piece.corners_mm[np.array(piece.edges)]
    middles = ends.mean(axis=1, keepdims=True)
    reference = projection.camera.reference
    along = np.diff(projection.to_picture(middles + (ends - middles) * 1e-3, reference), axis=1)[:, 0]
    normal = np.stack([along[:, 1], -along[:, 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    out = projection.to_picture(middles[:, 0], reference) - projection.to_picture(piece.position_mm, reference)
    return normal * np.sign(np.sum(out * normal, axis=-1, keepdims=True))


def _add_skirts(canvas: Shot, optics: LocalOptics, pieces: list[Piece]) -> None:
    """Add the far skirts of all pieces."""
    width, height = canvas.size
    for channel in canvas.channels:
        skirt = Skirt.of(optics.surround(channel), SKIRT_PX)
        if skirt is None:
            continue
        outlines = [optics.projection.to_picture(piece.corners_mm, channel) for piece in pieces]
        coarse = skirt_on_coarse(outlines, skirt, canvas.size)
        for samples, (rows, columns) in channel_parts(canvas, channel, Patch(0, 0, width, height)):
            samples += coarse.at(np.arange(width)[columns], np.arange(height)[rows])


def _light_up(canvas: Shot, projection: Projection, f_number: float) -> None:
    """Darkness to light: paper and ink under the light that the lens passes."""
    scene = projection.scene
    width, height = canvas.size
    for channel in canvas.channels:
        light = light_image(projection, f_number, channel)
        for samples, (rows, columns) in channel_parts(canvas, channel, Patch(0, 0, width, height)):
            samples *= np.float32(scene.print.black - 1)
            samples += 1
            samples *= scene.white * light.at(np.arange(width)[columns], np.arange(height)[rows])


def _truth(
    projection: Projection, pieces: list[Piece], normal: NDArray, facts: list[dict[str, _Facts]]
) -> EdgeTruth:
    channels, edges = projection.camera.channels, normal.shape[1]
    middles = np.array([piece.corners_mm[np.array(piece.edges)].mean(axis=1) for piece in pieces])
    middle = {name: projection.to_picture(middles, name) for name in channels}

    def by_channel(value: str, part: slice | int = slice(None)) -> dict[str, NDArray]:
        return {name: np.array([getattr(f[name], value)[part] for f in facts]) for name in channels}

    shift = by_channel("shift_px")
    return EdgeTruth(
        place_px=projection.to_picture(np.array([p.position_mm for p in pieces]), projection.camera.reference),
        middle_px=middle,
        crossing_px={name: middle[name] + shift[name][..., None] * normal for name in channels},
        normal=normal,
        angle_deg=np.degrees(np.arctan2(normal[..., 0], normal[..., 1])) % 180,
        mtf50=by_channel("mtf50", slice(edges)),
        lens_mtf50=by_channel("lens_mtf50"),
        sagittal_mtf50=by_channel("mtf50", edges),
        tangential_mtf50=by_channel("mtf50", edges + 1),
        frequencies=FREQUENCIES,
        mtf=by_channel("mtf"),
    )
