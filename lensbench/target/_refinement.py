"""Tiles refined: from where the mapping predicts them onto the edges that are seen there.

The constants are chosen by experience; `tests.bench.finding` shows what they achieve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from lensbench.target._reduced import Reduced
from lensbench.target._sheet_map import SheetMap
from lensbench.target.layout import LEG_CORNERS

STATIONS = 15
"""Profiles across each edge."""

DEPTHS = 33
"""Samples of each profile."""

REACH = 0.24
"""Half the length of a profile, in legs: inwards almost to the tile's middle, outwards short of other tiles."""

NEAREST_CORNER = (0.16, 0.36)
"""Distance of the outermost profiles from the corners, in parts of the edge: least, and most for wide blur."""

CLEARANCE = 3.0
"""Distance of profiles from the next edge in blur widths, as far as there is room."""

FEWEST_STATIONS = 4
"""Profiles that an edge needs to count as seen."""

MOSTLY = 0.6
"""Share of an edge's profiles that must lie in the picture for it to be expected, and of these that must agree."""

OUTLIER, SCATTER = 5.0, (0.015, 0.05)
"""Profiles are left out that lie further from the refined edges than this many times what is typical of the tile,
within these bounds in legs."""

PROFILE_SIGMA, SHIFT_SIGMA, SHAPE_SIGMA = 0.004, 0.05, 0.015
"""Prior standard deviations of a profile's error, of a tile's shift from the mapping, and of its turn and stretch,
in legs."""

LEAST_CONTRAST = 0.15
"""Least part of the paper's light that ink must lack."""


@dataclass(frozen=True, eq=False)
class RefinedTiles:
    """Tiles moved onto their edges.

    Attributes
    ----------
    corners : ndarray, shape (n, 3, 2)
        In the picture; where an edge isn't seen, as the mapping predicts it.
    seen : ndarray of bool, shape (n, 3)
        Which of the edges were seen.
    expected : ndarray of bool, shape (n, 3)
        Which of the edges lie in the picture, with room on both sides, and so should be seen.
    blur : ndarray, shape (n,)
        The standard deviation of the edges' blur over the leg; NaN where none is seen.
    contrast : ndarray, shape (n,)
        The part of the paper's light that the tile's inside lacks; NaN where neither is in the picture.
    """

    corners: NDArray[np.float64]
    seen: NDArray[np.bool_]
    expected: NDArray[np.bool_]
    blur: NDArray[np.float64]
    contrast: NDArray[np.float64]


def refine_tiles(
    picture: Reduced, mapping: SheetMap, corners_mm: NDArray, blur: NDArray | None = None
) -> RefinedTiles:
    """Refine the corners of tiles on the edges that are seen near their predicted places.

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
        The edges' blur over the leg, where known: profiles then avoid the rounded corners.

    Returns
    -------
    RefinedTiles
    """
    predicted = mapping(corners_mm)
    leg = legs_of(predicted)
    edges = _edges(mapping, corners_mm, predicted, np.zeros(len(leg)) if blur is None else np.nan_to_num(blur))
    depth = np.linspace(-REACH, REACH, DEPTHS)
    points = (
        edges.points[..., None, :] + depth[:, None] * leg[:, None, None, None, None] * edges.normals[..., None, :]
    )
    light = _look_up(picture, points)
    ink, paper = _ink_and_paper(light)
    offset, width = _crossings(light, depth, (ink[:, None] + paper) / 2, paper - ink[:, None])
    beside = _median(paper, axis=1)
    contrast = 1 - ink / np.where(beside > 0, beside, np.nan)
    offset[~(contrast > LEAST_CONTRAST)] = np.nan
    shown = np.all(np.isfinite(light[..., [0, -1]]), axis=3)
    shift, shape, common, seen = _corrections(edges, offset, shown, predicted, leg)
    away = (predicted - predicted.mean(axis=1)[:, None]) / leg[:, None, None]
    moved = shift[:, None] + np.einsum("nij,ncj->nci", shape, away) + common * _corner_moves(predicted)
    corners = predicted + moved * leg[:, None, None]
    expected = shown.mean(axis=2) > MOSTLY
    return RefinedTiles(corners, seen, expected, _median(np.where(seen, width, np.nan), axis=1), contrast)


def legs_of(corners: NDArray) -> NDArray[np.float64]:
    """The size of tiles: the leg of the set square of the same area, shape (n,)."""
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.sqrt(np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]))


@dataclass(frozen=True, eq=False)
class _Edges:
    """Middles of profiles in the picture, and the outward unit normals there, shape (n, 3, stations, 2) each."""

    points: NDArray[np.float64]
    normals: NDArray[np.float64]


def _edges(mapping: SheetMap, corners_mm: NDArray, predicted: NDArray, blur: NDArray) -> _Edges:
    start, end = (corners_mm[:, [pair[k] for pair in LEG_CORNERS]] for k in (0, 1))
    clear = np.clip(CLEARANCE * blur / 0.7, *NEAREST_CORNER)[:, None, None]
    along = clear + (1 - 2 * clear) * np.linspace(0, 1, STATIONS)
    along = np.broadcast_to(along, (len(corners_mm), 3, STATIONS))
    on_sheet = start[:, :, None] + along[..., None] * (end - start)[:, :, None]
    step = 0.02 * (end - start)[:, :, None]
    points = mapping(on_sheet)
    normals = _across(mapping(on_sheet + step) - mapping(on_sheet - step))
    outward = ((points - predicted.mean(axis=1)[:, None, None]) * normals).sum(axis=-1, keepdims=True)
    return _Edges(points, np.where(outward < 0, -normals, normals))


def _across(tangents: NDArray) -> NDArray:
    """Unit vectors perpendicular to others."""
    turned = np.stack([tangents[..., 1], -tangents[..., 0]], axis=-1)
    return turned / np.maximum(np.linalg.norm(turned, axis=-1, keepdims=True), 1e-12)


def _look_up(picture: Reduced, points: NDArray) -> NDArray[np.float32]:
    """Relative light at points (x, y) in blocks, NaN outside of the frame."""
    flat = points.reshape(-1, 2).T[::-1]
    light = map_coordinates(picture.relative, flat, order=1, mode="constant", cval=np.nan, prefilter=False)
    return light.reshape(points.shape[:-1])


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


def _ink_and_paper(light: NDArray) -> tuple[NDArray, NDArray]:
    """The light of each tile's ink, shape (n,), and of the paper beside each of its edges, shape (n, 3).

    Paper outside the frame is taken to be as bright as that beside the other edges, ink as dark as in the median
    tile.
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
    edges: _Edges, offset: NDArray, shown: NDArray, predicted: NDArray, leg: NDArray
) -> tuple[NDArray, NDArray, float, NDArray[np.bool_]]:
    """How each tile must be shifted, and slightly turned and stretched, to lie on what was seen of its edges.

    Least squares with a normal prior of no change; the offset that all edges have in common (ink spreads evenly)
    is subtracted first, so that it doesn't shift a tile of which only one edge is seen.

    Returns
    -------
    shift : ndarray, shape (n, 2)
        In legs.
    shape : ndarray, shape (n, 2, 2)
        Linear change of positions about the tile's centre.
    common : float
        The common outward offset of edges, in legs.
    seen : ndarray of bool, shape (n, 3)
        Which edges were seen.
    """
    tiles = len(offset)
    away = ((edges.points - predicted.mean(axis=1)[:, None, None]) / leg[:, None, None, None]).reshape(
        tiles, -1, 2
    )
    normal = edges.normals.reshape(tiles, -1, 2)
    rows = np.concatenate([normal, (normal[..., :, None] * away[..., None, :]).reshape(tiles, -1, 4)], axis=2)
    crossed = np.isfinite(offset)
    good = crossed & (np.abs(offset - _median(offset, axis=2)[..., None]) < 2 * SCATTER[1])
    common = _common_offset(offset, good, predicted)
    value = np.nan_to_num(offset.reshape(tiles, -1) - common)
    prior = np.diag(np.array([1 / SHIFT_SIGMA, 1 / SHIFT_SIGMA, *[1 / SHAPE_SIGMA] * 4]) ** 2 * PROFILE_SIGMA**2)
    for _ in range(3):
        weight = good.reshape(tiles, -1, 1) * rows
        change = np.linalg.solve(
            np.swapaxes(weight, 1, 2) @ rows + prior, np.swapaxes(weight, 1, 2) @ value[..., None]
        )[..., 0]
        residual = np.abs(value - np.einsum("nmk,nk->nm", rows, change)).reshape(good.shape)
        typical = _median(np.where(good, residual, np.nan), axis=(1, 2))[:, None, None]
        good = crossed & (residual < np.clip(np.nan_to_num(OUTLIER * typical), *SCATTER))
    enough = np.maximum(FEWEST_STATIONS, MOSTLY * shown.sum(axis=2))
    return change[:, :2], change[:, 2:].reshape(-1, 2, 2), common, good.sum(axis=2) >= enough


def _common_offset(offset: NDArray, good: NDArray, predicted: NDArray) -> float:
    """The median of all tiles' outward offsets, in legs, weighted by the edges' lengths so that shifts cancel."""
    start, end = (predicted[:, [pair[k] for pair in LEG_CORNERS]] for k in (0, 1))
    length = np.linalg.norm(end - start, axis=2)
    typical = _median(np.where(good, offset, np.nan), axis=2)
    even = (typical * length).sum(axis=1) / length.sum(axis=1)
    even = even[np.isfinite(even)]
    return float(np.median(even)) if len(even) else 0.0


def _corner_moves(predicted: NDArray) -> NDArray[np.float64]:
    """How corners move when all edges move outwards by one, shape (n, 3, 2)."""
    before, after = np.roll(predicted, 1, axis=1) - predicted, np.roll(predicted, -1, axis=1) - predicted
    before, after = (way / np.linalg.norm(way, axis=2, keepdims=True) for way in (before, after))
    sine = np.abs(before[..., 0] * after[..., 1] - before[..., 1] * after[..., 0])
    return -(before + after) / sine[..., None]
