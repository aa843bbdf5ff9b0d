"""Small pictures of a target shot's tiles, cut from the raw samples while the shot is in memory."""

from __future__ import annotations

from collections.abc import Sequence

import imageio.v3 as iio
import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.reporter.tile_view import FoundEdge, TileView
from lensbench.shot import Shot
from lensbench.srgb import srgb_from_light
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS, LEGS

LONG_SIDE = 112
"""About how many pixels the longer side of a picture has: enough to see the blur, small enough for hundreds."""

MARGIN = 0.14
"""How much of a tile's own extent is shown around it."""

QUALITY = 82
"""Of the JPEG: at this one edges show no ringing of the coding's own (chosen by eye)."""

WHITE_AT = 0.86
"""Where the paper comes to stand on the picture's scale, before its coding for screens."""

_CHANNELS = ("red", "green", "blue")


def view_tiles(
    file: str, shot: Shot, found: FoundTiles, reference: EdgeResponses, block: int | None = None
) -> tuple[TileView, ...]:
    """Cut a picture of every tile found.

    Parameters
    ----------
    file : str
        The shot's file, as the session names it.
    shot : Shot
    found : FoundTiles
        Its tiles.
    reference : EdgeResponses
        Their edges in the reference channel, in the order of `tile_edges`.
    block : int, optional
        Side of the blocks that are averaged, in pixels; chosen by the tiles' size otherwise.

    Returns
    -------
    tuple of TileView
        In the order of `found`; tiles of which less than a few pixels lie in the frame are left out.
    """
    views = []
    for number, corners in enumerate(np.asarray(found.corners_px, float)):
        box = _box(corners, shot.size)
        side = block or _block(shot, box)
        across, down = (box[2] - box[0]) // side, (box[3] - box[1]) // side
        if min(across, down) < 4:
            continue
        picture = _picture(shot, box[:2], (across, down), side)
        edges = [_edge(reference, number, leg, corners, box[:2], side) for leg in range(len(LEGS))]
        views.append(
            TileView(
                file, int(found.column[number]), int(found.row[number]), _as_jpeg(picture), (across, down),
                float(side), tuple(edges),
            )
        )  # fmt: skip
    return tuple(views)


def _box(corners: NDArray, size: tuple[int, int]) -> tuple[int, int, int, int]:
    """What is shown of a tile: left, top, right, bottom in pixels, within the frame."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = MARGIN * float((high - low).max())
    left, top = np.maximum(np.floor(low - margin), 0).astype(int)
    right, bottom = np.minimum(np.ceil(high + margin), size).astype(int)
    return int(left), int(top), int(right), int(bottom)


def _block(shot: Shot, box: tuple[int, int, int, int]) -> int:
    """The side of the blocks: whole repeats of the mosaic, so that every block holds every colour."""
    repeat = 1 if shot.pattern is None else int(np.lcm(*shot.pattern.shape))
    if repeat == 6:
        # Every 3 × 3 of a six by six mosaic holds all colours.
        repeat = 3
    longest = max(box[2] - box[0], box[3] - box[1])
    return repeat * max(round(longest / LONG_SIDE / repeat), 1)


def _picture(shot: Shot, corner: tuple[int, int], shape: tuple[int, int], block: int) -> NDArray[np.uint8]:
    """Block means by colour, the paper's white brought to the same number in each."""
    (left, top), (across, down) = corner, shape
    wanted = _CHANNELS if set(_CHANNELS) <= set(shot.channels) else (shot.reference,)
    planes = []
    for channel in wanted:
        window = shot.window(channel, left, top, left + across * block, top + down * block)
        cell = ((window.y - top) // block).astype(int) * across + ((window.x - left) // block).astype(int)
        count = np.bincount(cell, minlength=across * down)
        light = np.bincount(cell, window.light, across * down) / np.maximum(count, 1)
        white = float(np.percentile(light[count > 0], 95)) if count.any() else 1.0
        planes.append((light / max(white, 1e-9)).reshape(down, across))
    stack = np.stack(planes if len(planes) == 3 else planes * 3, axis=-1)
    return np.round(255 * srgb_from_light(np.clip(WHITE_AT * stack, 0, 1))).astype(np.uint8)


def _as_jpeg(picture: NDArray[np.uint8]) -> bytes:
    # Colours are not thinned out: fringes of a pixel or two are what people look for.
    return bytes(iio.imwrite("<bytes>", picture, extension=".jpeg", quality=QUALITY, subsampling=0))


def _edge(
    reference: EdgeResponses, tile: int, leg: int, corners: NDArray, corner: Sequence[int], block: int
) -> FoundEdge:
    """One edge: along its measured line, or between the corners where it could not be measured."""
    number = len(LEGS) * tile + leg
    if reference.reason[number]:
        start, end = corners[list(LEG_CORNERS[leg])]
        return FoundEdge(LEGS[leg], _placed(start, corner, block), _placed(end, corner, block))
    middle = np.array([reference.x[number], reference.y[number]])
    along = np.array([-reference.normal[number][1], reference.normal[number][0]])
    half = along * reference.length_px[number] / 2
    start, end = (_placed(middle + side * half, corner, block) for side in (-1, 1))
    return FoundEdge(LEGS[leg], start, end, tuple(round(float(m), 3) for m in reference.mtf[number]))


def _placed(point: NDArray, corner: Sequence[int], block: int) -> tuple[float, float]:
    """A point of the frame as distances from the picture's left and top border, in its pixels."""
    x, y = (round((float(p) + 0.5 - c) / block, 2) for p, c in zip(point, corner, strict=True))
    return x, y
