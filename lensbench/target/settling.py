"""Tiles moved from where they are reckoned onto the edges that are seen there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from lensbench.target.layout import LEG_CORNERS
from lensbench.target.reduced import Reduced
from lensbench.target.sheet_map import SheetMap

STATIONS = 15
"""Profiles across each edge."""

DEPTHS = 33
"""Samples of each profile."""

REACH = 0.24
"""Half the length of a profile, in legs: inwards to near the tile's middle, outwards clear of other tiles."""

NEAREST_CORNER = (0.16, 0.36)
"""How far from the corners, in parts of the edge, profiles keep: at least, and at most where blur is wide."""

CLEARANCE = 3.0
"""Blur widths that profiles keep from the next edge, as far as there is room."""

FEWEST_STATIONS = 4
"""Profiles that an edge needs to be told by."""

MOSTLY = 0.6
"""Share of an edge's profiles that must lie in the picture for it to be owed, and of these that must agree."""

ODD, SCATTER = 5.0, (0.015, 0.05)
"""Profiles are left out that lie further from the settled edges than this many times what is usual of the tile,
within these bounds in legs."""

NOISE, LOOSE_SHIFT, LOOSE_BEND = 0.004, 0.05, 0.015
"""What is usual of a profile's error, of a tile's shift from the mapping, and of its turn and stretch, in legs."""

LEAST_CONTRAST = 0.15
"""Least part of the paper's light that ink must lack."""


@dataclass(frozen=True, eq=False)
class Settled:
    """Tiles on their edges.

    Attributes
    ----------
    corners : ndarray, shape (n, 3, 2)
        In the picture; where an edge isn't seen, as near as the mapping says.
    seen : ndarray of bool, shape (n, 3)
        Which of the edges were seen.
    owed : ndarray of bool, shape (n, 3)
        Which of the edges lie in the picture, with room on both sides, and so ought to be seen.
    blur : ndarray, shape (n,)
        The standard deviation of the edges' blur over the leg; NaN where none is seen.
    contrast : ndarray, shape (n,)
        The part of the paper's light that the tile's inside lacks; NaN where neither is in the picture.
    """

    corners: NDArray[np.float64]
    seen: NDArray[np.bool_]
    owed: NDArray[np.bool_]
    blur: NDArray[np.float64]
    contrast: NDArray[np.float64]


def settle(picture: Reduced, mapping: SheetMap, corners_mm: NDArray, blur: NDArray | None = None) -> Settled:
    """Look for the edges of tiles around where a mapping puts them.

    Edges may be bent as the mapping bends them; each is shifted and turned to where its profiles cross half of the
    light between this tile's ink and the paper beside it, and the corners follow.

    Parameters
    ----------
    picture : Reduced
    mapping : SheetMap
        From the sheet to the picture's blocks.
    corners_mm : ndarray, shape (n, 3, 2)
        Corners of the tiles on the sheet.
    blur : ndarray, shape (n,), optional
        The edges' blur over the leg, where known: profiles then keep clear of the corners' roundings.

    Returns
    -------
    Settled
    """
    reckoned = mapping(corners_mm)
    leg = legs_of(reckoned)
    edges = _edges(mapping, corners_mm, reckoned, np.zeros(len(leg)) if blur is None else np.nan_to_num(blur))
    depth = np.linspace(-REACH, REACH, DEPTHS)
    places = (
        edges.places[..., None, :] + depth[:, None] * leg[:, None, None, None, None] * edges.normals[..., None, :]
    )
    light = _look_up(picture, places)
    ink, paper = _levels(light)
    offset, width = _crossings(light, depth, (ink[:, None] + paper) / 2, paper - ink[:, None])
    beside = _median(paper, axis=1)
    contrast = 1 - ink / np.where(beside > 0, beside, np.nan)
    offset[~(contrast > LEAST_CONTRAST)] = np.nan
    shown = np.isfinite(light[..., [0, -1]]).all(axis=3)
    shift, bend, growth, seen = _corrections(edges, offset, shown, reckoned, leg)
    away = (reckoned - reckoned.mean(axis=1)[:, None]) / leg[:, None, None]
    moved = shift[:, None] + np.einsum("nij,ncj->nci", bend, away) + growth * _ways_to_corners(reckoned)
    corners = reckoned + moved * leg[:, None, None]
    owed = shown.mean(axis=2) > MOSTLY
    return Settled(corners, seen, owed, _median(np.where(seen, width, np.nan), axis=1), contrast)


def legs_of(corners: NDArray) -> NDArray[np.float64]:
    """The size of tiles: the leg of the set square of the same area, shape (n,)."""
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.sqrt(np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]))


@dataclass(frozen=True, eq=False)
class _Edges:
    """Profiles' places in the picture, and the ways outwards across the edges there, shape (n, 3, stations, 2)."""

    places: NDArray[np.float64]
    normals: NDArray[np.float64]


def _edges(mapping: SheetMap, corners_mm: NDArray, reckoned: NDArray, blur: NDArray) -> _Edges:
    start, end = (corners_mm[:, [pair[k] for pair in LEG_CORNERS]] for k in (0, 1))
    clear = np.clip(CLEARANCE * blur / 0.7, *NEAREST_CORNER)[:, None, None]
    along = clear + (1 - 2 * clear) * np.linspace(0, 1, STATIONS)
    along = np.broadcast_to(along, (len(corners_mm), 3, STATIONS))
    on_sheet = start[:, :, None] + along[..., None] * (end - start)[:, :, None]
    step = 0.02 * (end - start)[:, :, None]
    places = mapping(on_sheet)
    normals = _across(mapping(on_sheet + step) - mapping(on_sheet - step))
    outward = ((places - reckoned.mean(axis=1)[:, None, None]) * normals).sum(axis=-1, keepdims=True)
    return _Edges(places, np.where(outward < 0, -normals, normals))


def _across(tangents: NDArray) -> NDArray:
    """Unit vectors square to others."""
    turned = np.stack([tangents[..., 1], -tangents[..., 0]], axis=-1)
    return turned / np.maximum(np.linalg.norm(turned, axis=-1, keepdims=True), 1e-12)


def _look_up(picture: Reduced, places: NDArray) -> NDArray[np.float32]:
    """Relative light at places (x, y) in blocks, NaN outside of the frame."""
    flat = places.reshape(-1, 2).T[::-1]
    light = map_coordinates(picture.relative, flat, order=1, mode="constant", cval=np.nan, prefilter=False)
    return light.reshape(places.shape[:-1])


def _median(values: NDArray, axis: int | tuple[int, ...]) -> NDArray[np.float64]:
    """Medians of what is not NaN; NaN where all is."""
    axes = (axis,) if isinstance(axis, int) else axis
    kept = [n for a, n in enumerate(values.shape) if a not in axes]
    flat = np.moveaxis(values, axes, range(-len(axes), 0)).reshape(*kept, -1)
    ordered = np.sort(flat, axis=-1)
    count = np.isfinite(flat).sum(axis=-1)
    low, high = np.maximum((count - 1) // 2, 0), np.maximum(count // 2, 0)
    high = np.minimum(high, flat.shape[-1] - 1)
    both = np.take_along_axis(ordered, np.stack([low, high], axis=-1), axis=-1)
    return both.mean(axis=-1)


def _levels(light: NDArray) -> tuple[NDArray, NDArray]:
    """The light of each tile's ink, shape (n,), and of the paper beside each of its edges, shape (n, 3).

    Paper that can't be seen is taken to be as bright as that beside the other edges, ink as dark as is usual.
    """
    inside = light[..., :4]
    ink = _median(inside, axis=(1, 2, 3))
    complete = np.isfinite(inside).all(axis=(1, 2, 3))
    if complete.any():
        # Where the border cuts a tile down to a tip, nothing of it may be as dark as its ink.
        ink = np.where(complete, ink, np.fmin(ink, np.median(ink[complete])))
    paper = _median(light[..., -4:], axis=(2, 3))
    beside = _median(paper, axis=1)[:, None]
    return ink, np.where(np.isnan(paper), beside, paper)


def _crossings(light: NDArray, depth: NDArray, half: NDArray, contrast: NDArray) -> tuple[NDArray, NDArray]:
    """Where each profile crosses half, nearest to the middle, in legs; and each edge's blur.

    Returns
    -------
    offset : ndarray, shape (n, 3, stations)
        NaN where a profile doesn't cross, or runs out of the frame near to where it does.
    width : ndarray, shape (n, 3)
    """
    above = light - half[:, :, None, None]
    rising = (above[..., :-1] < 0) & (above[..., 1:] >= 0)
    middles = (depth[:-1] + depth[1:]) / 2
    first = np.where(rising, np.abs(middles), np.inf).argmin(axis=-1)[..., None]
    low, high = (np.take_along_axis(above, first + k, axis=-1)[..., 0] for k in (0, 1))
    step = depth[1] - depth[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        offset = depth[first[..., 0]] + step * low / (low - high)
        crossed = rising.any(axis=-1)
        offset = np.where(crossed, offset, np.nan)
        wide = np.clip(first + np.array([-1, 2]), 0, len(depth) - 1)
        ends = np.take_along_axis(light, wide, axis=-1)
        slope = (ends[..., 1] - ends[..., 0]) / (step * (wide[..., 1] - wide[..., 0]))
        width = contrast / (np.sqrt(2 * np.pi) * _median(np.where(crossed, slope, np.nan), axis=2))
    return offset, width


def _corrections(
    edges: _Edges, offset: NDArray, shown: NDArray, reckoned: NDArray, leg: NDArray
) -> tuple[NDArray, NDArray, float, NDArray[np.bool_]]:
    """How each tile must be shifted, and slightly turned and stretched, to lie on what was seen of its edges.

    Least squares, held towards no change where little of a tile is seen; and what all edges have in common (ink
    spreads evenly) is taken off first, so that a tile of which one edge is seen isn't shifted by it.

    Returns
    -------
    shift : ndarray, shape (n, 2)
        In legs.
    bend : ndarray, shape (n, 2, 2)
        Change of places against the tile's centre.
    growth : float
        The common outward offset of edges, in legs.
    seen : ndarray of bool, shape (n, 3)
        Which edges were seen.
    """
    tiles = len(offset)
    away = ((edges.places - reckoned.mean(axis=1)[:, None, None]) / leg[:, None, None, None]).reshape(tiles, -1, 2)
    normal = edges.normals.reshape(tiles, -1, 2)
    rows = np.concatenate([normal, (normal[..., :, None] * away[..., None, :]).reshape(tiles, -1, 4)], axis=2)
    crossed = np.isfinite(offset)
    good = crossed & (np.abs(offset - _median(offset, axis=2)[..., None]) < 2 * SCATTER[1])
    growth = _common_growth(offset, good, reckoned)
    value = np.nan_to_num(offset.reshape(tiles, -1) - growth)
    stiff = np.diag(np.array([1 / LOOSE_SHIFT, 1 / LOOSE_SHIFT, *[1 / LOOSE_BEND] * 4]) ** 2 * NOISE**2)
    for _ in range(3):
        weight = good.reshape(tiles, -1, 1) * rows
        change = np.linalg.solve(
            np.swapaxes(weight, 1, 2) @ rows + stiff, np.swapaxes(weight, 1, 2) @ value[..., None]
        )[..., 0]
        rest = np.abs(value - np.einsum("nmk,nk->nm", rows, change)).reshape(good.shape)
        usual = _median(np.where(good, rest, np.nan), axis=(1, 2))[:, None, None]
        good = crossed & (rest < np.clip(np.nan_to_num(ODD * usual), *SCATTER))
    enough = np.maximum(FEWEST_STATIONS, MOSTLY * shown.sum(axis=2))
    return change[:, :2], change[:, 2:].reshape(-1, 2, 2), growth, good.sum(axis=2) >= enough


def _common_growth(offset: NDArray, good: NDArray, reckoned: NDArray) -> float:
    """The middle of all tiles' outward offsets, in legs, weighted by the edges' lengths so that shifts cancel."""
    start, end = (reckoned[:, [pair[k] for pair in LEG_CORNERS]] for k in (0, 1))
    length = np.linalg.norm(end - start, axis=2)
    usual = _median(np.where(good, offset, np.nan), axis=2)
    even = (usual * length).sum(axis=1) / length.sum(axis=1)
    even = even[np.isfinite(even)]
    return float(np.median(even)) if len(even) else 0.0


def _ways_to_corners(reckoned: NDArray) -> NDArray[np.float64]:
    """How corners move when all edges move outwards by one, shape (n, 3, 2)."""
    before, after = np.roll(reckoned, 1, axis=1) - reckoned, np.roll(reckoned, -1, axis=1) - reckoned
    before, after = (way / np.linalg.norm(way, axis=2, keepdims=True) for way in (before, after))
    sine = np.abs(before[..., 0] * after[..., 1] - before[..., 1] * after[..., 0])
    return -(before + after) / sine[..., None]
