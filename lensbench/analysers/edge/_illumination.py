"""How the light that falls on the sheet rises and bends across each edge, from the clear bright parts beside it.

Falloff and lamps slope and bend the light over a figure. An edge's own profile can't tell that from its tails, so
it is read off the bright sheet round the whole figure, in shares: ln light is a paraboloid there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _sample_loops as loops
from lensbench.analysers.edge._crosstalk_loops import subtended
from lensbench.analysers.edge._far_light import kept_by_figures
from lensbench.analysers.edge._places import EdgePlaces
from lensbench.analysers.edge._samples import EdgeSamples
from lensbench.robust import MAD_TO_SIGMA

USUAL_TAIL = 0.15
"""Light that blur still takes one blur width out if all fell off as 1/u; 0.139 for a perfect lens, round pupil."""

MISFIT = 0.05
"""What blur may take more or less than tails of 1/u do, since a glow fades faster: a share of tails that would
take all the light one blur width out."""

USUAL_SLOPE = 3.0
"""Rise of ln light over half the frame's diagonal: four stops of falloff at its steepest are 5.5."""

USUAL_BEND = 3.0
"""Change of that rise over half the frame's diagonal: 2.8 for two stops of falloff, 5.5 for four."""

SMALLEST_FRAME = 1800.0
"""Half the diagonal in pixels; a smaller picture may be cut out of a larger one, its light no steeper for it."""

STEEPER_THAN_SEEN = 2.0
"""How much steeper light may be round one tile than tiles show it over the picture, which may be a whole one."""

LEAST_TILES = 12
"""The light of fewer tiles, fitted with six terms, shows nothing."""

SPOILED = 6.0
"""Blocks of light farther off the rest than so many times what blocks usually are hold a hot pixel or a speck."""

SPOILED_TURNS = 2
"""How often spoiled blocks are looked for: the worst of them hide the others."""

PATCHES_PER_BLOCK = 8.0
"""Variance of blocks by a texture, whose neighbours go together, over what their scatter shows (study:
`tests/bench/texture.py`)."""

COHERENT_CHANCE = 3.0
"""Standard deviations by which neighbouring blocks may lie off alike by chance."""

COHERENT_SHARE = 2.0
"""Where they lie off alike, as beside a shadow's border, all blocks of a figure together tell no more than half of
one block with that deviation (study: `tests/bench/gauntlet`, shadows)."""

LEAST_LIGHT = 0.05
"""A block with less than this share of its figure's light tells nothing of slopes, only that it is spoiled."""

LIGHT_WINDOW = 160
"""How far from an edge light is read, in pixels: the more sheet, the better it is separated from blur's tails."""

_BLOCKS = 6
_TERMS = 5


@dataclass(frozen=True, eq=False)
class EdgeLight:
    """The light round each of n edges, in shares of that at the edge's nominal middle.

    Attributes
    ----------
    slope : ndarray, shape (n, 2)
        Rise of ln light by x and y, in a pixel.
    bend : ndarray, shape (n, 2, 2)
        Second derivatives of ln light, in a pixel squared.
    across_covariance : ndarray, shape (n, 2, 2)
        Of the first and the second derivative along the normal.
    """

    slope: NDArray[np.float64]
    bend: NDArray[np.float64]
    across_covariance: NDArray[np.float64]

    def along_and_across(self, places: EdgePlaces) -> NDArray[np.float64]:
        """Derivatives of ln light along (t) and across (u) each edge: by t, u, tt, tu, uu; shape (n, 5)."""
        ways = np.stack([places.along, places.normal])
        rise = np.einsum("knc,nc->nk", ways, self.slope)
        bend = np.einsum("knc,ncd,lnd->nkl", ways, self.bend, ways)
        return np.column_stack([rise, bend[:, 0], bend[:, 1, 1]])


def light_round(
    samples: EdgeSamples,
    places: EdgePlaces,
    offset: NDArray,
    blur: NDArray,
    contrast: NDArray,
    noise: NDArray,
    margin: NDArray,
    size: tuple[int, int],
) -> EdgeLight:
    """Read the light round each group of edges off their far bright samples.

    What blur's tails keep from there, of the edges' own figure and those around, is fitted beside.

    Parameters
    ----------
    samples : EdgeSamples
        Thinned, to both sides of each edge.
    offset, blur, contrast, noise : ndarray, shape (n,)
        Of each edge, roughly: place along its normal and blur width in pixels, then white minus dark and the
        standard deviation of one white sample in stored units.
    margin : ndarray, shape (n,)
        How far to stay from walls and neighbours, in pixels.
    size : (int, int)
        Width and height of the frame.
    """
    blocks = _blocks(samples, places, offset, blur, margin, size)
    owner, light = blocks.owner, blocks.light
    _, member = np.unique(places.group, return_inverse=True)
    n = int(member.max(initial=-1)) + 1
    group = member[owner]
    mass = np.maximum(np.bincount(group, blocks.count, n), 1)
    mean_light, *middle = (np.bincount(group, blocks.count * a, n) / mass for a in (light, *blocks.at.T))
    level, centre = np.where(mean_light > 0, mean_light, 1.0), np.stack(middle, axis=1)
    share = light / level[group]
    tail = (contrast * blur)[owner] / level[group] * _kept(blocks, places, offset, blur)
    terms = _terms(blocks.at - centre[group])
    # Free edges may be of things of any brightness.
    seen = (np.bincount(member, places.side >= 0, n) > 0) & (np.bincount(group, minlength=n) > 0)
    usual = np.append(_usual(np.log(level[seen]), centre[seen], size), USUAL_TAIL)
    found, covariance = _steady(
        np.column_stack([terms, -tail]),
        np.log(np.maximum(share, LEAST_LIGHT)),
        1 / ((noise[owner] / level[group]) ** 2 / blocks.count + (MISFIT * tail) ** 2),
        group,
        n,
        usual,
        blocks.cell,
    )
    return _at_edges(found[member], covariance[member], places, centre[member])


def _usual(light: NDArray, place: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """Standard deviations of the terms of ln light round any figure, from those of tiles at places, shape (5,)."""
    half_diagonal = max(np.hypot(*size) / 2, SMALLEST_FRAME)
    usual = np.array([USUAL_SLOPE / half_diagonal] * 2 + [USUAL_BEND / half_diagonal**2] * 3)
    if len(light) < LEAST_TILES:
        return usual
    away = place - place.mean(axis=0)
    columns = np.column_stack([np.ones(len(away)), _terms(away / half_diagonal)])
    _, *slope, xx, xy, yy = np.linalg.lstsq(columns, light, rcond=None)[0]
    bend = np.array([[xx, xy], [xy, yy]]) / half_diagonal**2
    steepest = np.linalg.norm(np.array(slope) / half_diagonal + away @ bend, axis=1).max()
    most_bent = np.abs(np.linalg.eigvalsh(bend)).max()
    return np.maximum(usual, STEEPER_THAN_SEEN * np.array([steepest] * 2 + [most_bent] * 3))


def _at_edges(found: NDArray, covariance: NDArray, places: EdgePlaces, centre: NDArray) -> EdgeLight:
    """Slopes and bends at the edges' middles from the terms of their groups."""
    bend = found[:, [[2, 3], [3, 4]]]
    away = places.middle - centre
    slope = found[:, :2] + np.einsum("nij,nj->ni", bend, away)
    (nx, ny), (dx, dy) = places.normal.T, away.T
    none = np.zeros(len(nx))
    first = np.stack([nx, ny, nx * dx, nx * dy + ny * dx, ny * dy], axis=1)
    second = np.stack([none, none, nx * nx, 2 * nx * ny, ny * ny], axis=1)
    levers = np.stack([first, second], axis=1)
    return EdgeLight(slope, bend, levers @ covariance[:, :_TERMS, :_TERMS] @ levers.transpose(0, 2, 1))


def _terms(d: NDArray) -> NDArray:
    """x, y, x²/2, x y, y²/2 at distances from a centre, shape (points, 5)."""
    x, y = d.T
    return np.stack([x, y, x * x / 2, x * y, y * y / 2], axis=1)


# -- blocks of light ------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Blocks:
    """Far bright samples beside edges, in blocks: whose, how many, where, and their mean light.

    `cell` numbers them as they lie in the edges' grids of blocks.
    """

    cell: NDArray
    owner: NDArray
    count: NDArray
    at: NDArray
    t: NDArray
    u: NDArray
    light: NDArray


def _kept(blocks: _Blocks, places: EdgePlaces, offset: NDArray, blur: NDArray) -> NDArray:
    """What dark figures keep from blocks, over the tail light's a in pixels: their own edge, and those around."""
    owner = blocks.owner
    u = np.maximum(blocks.u - offset[owner], blur[owner])
    own = subtended(u, blocks.t, places.half_length[owner]) / u
    return own + kept_by_figures(places.around, owner, blocks.at)


def _blocks(samples, places, offset, blur, margin, size) -> _Blocks:
    n = len(places)
    low, high = places.span(margin, size)
    near = np.minimum(offset + 6 * blur, 0.5 * places.reach_px[:, 1])
    reach = places.reach_px[:, 1] - margin
    clear = np.stack([near, reach, low, high], axis=1)
    depth = np.minimum(reach, LIGHT_WINDOW).clip(min=1.0)
    extent = np.stack([places.half_length, depth], axis=1)
    sums = loops.summed_in_blocks(samples.edge, samples.t, samples.u, samples.light, clear, extent, _BLOCKS)
    count, *rest = sums.reshape(4, -1)
    known = count > 0
    t, u, light = (a[known] / count[known] for a in rest)
    owner = np.repeat(np.arange(n), _BLOCKS**2)[known]
    at = places.middle[owner] + t[:, None] * places.along[owner] + u[:, None] * places.normal[owner]
    return _Blocks(np.flatnonzero(known), owner, count[known], at, t, u, light)


# -- fits by group --------------------------------------------------------------------------------------------


def _steady(
    columns: NDArray, value: NDArray, weight: NDArray, group: NDArray, n: int, usual: NDArray, cell: NDArray
) -> tuple[NDArray, NDArray]:
    """Factors and covariances as `_fitted` gives them, of the points that aren't spoiled.

    Points scatter by more than their noise where the paper is textured: they weigh by that scatter too. Where
    neighbours lie off alike, the light is no paraboloid.
    """
    for _ in range(SPOILED_TURNS):
        rest = np.abs(_fitted(columns, value, weight, group, n, usual)[2]) * np.sqrt(weight)
        good = rest <= SPOILED * np.maximum(_medians(rest, group, n), 0.5)[group]
        columns, value, weight, group, cell = (a[good] for a in (columns, value, weight, group, cell))
    rest = _fitted(columns, value, weight, group, n, usual)[2]
    # Even paper's few blocks may scatter by twice their noise.
    scatter = (MAD_TO_SIGMA * _medians(np.abs(rest), group, n)) ** 2 - 2 * _medians(1 / weight, group, n)
    more = PATCHES_PER_BLOCK * np.maximum(scatter, 0)
    more += COHERENT_SHARE * np.bincount(group, minlength=n) * _in_common(rest, cell, group, n)
    weight = 1 / (1 / weight + more[group])
    return _fitted(columns, value, weight, group, n, usual)[:2]


def _in_common(rest: NDArray, cell: NDArray, group: NDArray, n: int) -> NDArray[np.float64]:
    """Variance that neighbouring blocks of a group have in common, with certainty, shape (n,)."""
    grid = np.zeros((int(cell.max(initial=0)) // _BLOCKS**2 + 1, _BLOCKS, _BLOCKS))
    grid.ravel()[cell] = rest
    member = np.zeros(len(grid), int)
    member[cell // _BLOCKS**2] = group
    known = grid != 0
    product = (grid[:, 1:] * grid[:, :-1]).sum(axis=(1, 2)) + (grid[..., 1:] * grid[..., :-1]).sum(axis=(1, 2))
    pairs = (known[:, 1:] & known[:, :-1]).sum(axis=(1, 2)) + (known[..., 1:] & known[..., :-1]).sum(axis=(1, 2))
    product, pairs = np.bincount(member, product, n), np.maximum(np.bincount(member, pairs, n), 1)
    mean_square = np.bincount(group, rest**2, n) / np.maximum(np.bincount(group, minlength=n), 1)
    return np.maximum(product / pairs - COHERENT_CHANCE * mean_square / np.sqrt(pairs), 0)


def _medians(value: NDArray, group: NDArray, n: int) -> NDArray:
    """The middle value (the upper of two) of each group, 0 for a group without any, shape (n,)."""
    order = np.lexsort((value, group))
    count = np.bincount(group, minlength=n)
    middle = np.cumsum(count) - count + count // 2
    return np.where(count > 0, np.append(value[order], 0.0)[np.minimum(middle, len(value))], 0.0)


def _fitted(
    columns: NDArray, value: NDArray, weight: NDArray, group: NDArray, n: int, usual: NDArray
) -> tuple[NDArray, NDArray, NDArray]:
    """Factors of columns that, beside a level, draw each group's points of weight 1 / variance.

    Returns
    -------
    factor : ndarray, shape (n, columns)
        Drawn to 0 by what is usual.
    covariance : ndarray, shape (n, columns, columns)
    rest : ndarray, shape (points,)
        How far each point lies off.
    """
    all_columns = np.column_stack([np.ones(len(value)), columns * usual, value])
    moments = loops.moments(all_columns, weight, group, n)
    mean = moments[:, 0] / np.maximum(moments[:, :1, 0], 1e-9)
    # What is left of the products about the means.
    about = (moments - moments[:, :, :1] * mean[:, None])[:, 1:, 1:]
    covariance = np.linalg.inv(about[:, :-1, :-1] + np.eye(len(usual)))
    factor = np.einsum("nij,nj->ni", covariance, about[:, :-1, -1])
    weights = np.column_stack([-factor, np.ones(n)])[group]
    rest = np.einsum("pi,pi->p", (all_columns - mean[group])[:, 1:], weights)
    return factor * usual, covariance * np.outer(usual, usual), rest
