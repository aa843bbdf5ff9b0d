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

SCATTER = 0.05
"""How far, in legs, profiles may lie from the line that they share."""

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
    blur : ndarray, shape (n,)
        The standard deviation of the edges' blur over the leg; NaN where none is seen.
    contrast : ndarray, shape (n,)
        The part of the paper's light that the tile's inside lacks; NaN where neither is in the picture.
    """

    corners: NDArray[np.float64]
    seen: NDArray[np.bool_]
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
    level, slope, seen = _lines(edges.along, offset)
    contrast = 1 - ink / np.where(np.isnan(paper).all(axis=1), np.nan, _median(paper, axis=1))
    seen &= (contrast > LEAST_CONTRAST)[:, None]
    moved = _moved_corners(mapping, corners_mm, reckoned, leg, level, slope, seen)
    return Settled(moved, seen, _median(np.where(seen, width, np.nan), axis=1), contrast)


def legs_of(corners: NDArray) -> NDArray[np.float64]:
    """The size of tiles: the leg of the set square of the same area, shape (n,)."""
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return np.sqrt(np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]))


@dataclass(frozen=True, eq=False)
class _Edges:
    """Profiles' places along the edges: in parts of the edge, in the picture, and the ways outwards across it."""

    along: NDArray[np.float64]
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
    return _Edges(along, places, np.where(outward < 0, -normals, normals))


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

    Paper that can't be seen is taken to be as bright as that beside the other edges.
    """
    ink = _median(light[..., :4], axis=(1, 2, 3))
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


def _lines(along: NDArray, offset: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """The straight line of offsets along each edge: offset at its middle, slope, and whether there is one.

    Where too little of the edge is seen to tell its slope, that is nought.
    """
    usual = _median(offset, axis=2)[..., None]
    good = np.isfinite(offset) & (np.abs(offset - usual) < 2 * SCATTER)
    for _ in range(2):
        level, slope = _weighted_line(along - 0.5, np.where(good, offset, 0.0), good)
        rest = np.abs(offset - level[..., None] - slope[..., None] * (along - 0.5))
        good &= rest < SCATTER
    return level, slope, good.sum(axis=2) >= FEWEST_STATIONS


def _weighted_line(t: NDArray, value: NDArray, good: NDArray) -> tuple[NDArray, NDArray]:
    count = np.maximum(good.sum(axis=-1), 1)
    mean_t, mean_value = (t * good).sum(axis=-1) / count, value.sum(axis=-1) / count
    off = (t - mean_t[..., None]) * good
    spread = (off**2).sum(axis=-1)
    reach = np.where(good, t, -1.0).max(axis=-1) - np.where(good, t, 1.0).min(axis=-1)
    slope = np.where(reach > 0.25, (off * value).sum(axis=-1) / np.maximum(spread, 1e-9), 0.0)
    return mean_value - slope * mean_t, slope


def _moved_corners(
    mapping: SheetMap,
    corners_mm: NDArray,
    reckoned: NDArray,
    leg: NDArray,
    level: NDArray,
    slope: NDArray,
    seen: NDArray,
) -> NDArray[np.float64]:
    """Corners where the shifted edges meet; along an edge that isn't seen, as far as the mapping puts them."""
    moved = np.empty_like(reckoned)
    centre = reckoned.mean(axis=1)
    for corner in range(3):
        rows, shifts = [], []
        for edge, (a, b) in enumerate(LEG_CORNERS):
            if corner not in (a, b):
                continue
            t = 0.0 if corner == a else 1.0
            step = 0.02 * (corners_mm[:, b] - corners_mm[:, a])
            normal = _across(mapping(corners_mm[:, corner] + step) - mapping(corners_mm[:, corner] - step))
            outward = ((reckoned[:, corner] - centre) * normal).sum(axis=1)
            rows.append(np.where(outward[:, None] < 0, -normal, normal))
            off = (level[:, edge] + slope[:, edge] * (t - 0.5)) * leg
            shifts.append(np.where(seen[:, edge], off, 0.0))
        moved[:, corner] = (
            reckoned[:, corner]
            + np.linalg.solve(np.stack(rows, axis=1), np.stack(shifts, axis=1)[..., None])[..., 0]
        )
    return moved
