"""The edges of a setting's shots as one table, those that are far off their neighbours named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import EdgeResponses
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEGS


class ShotEdges(NamedTuple):
    """The measured edges of one shot: of the tiles found (edge 3 i + k is leg k of tile i), or free blades."""

    shot: str
    responses: dict[str, EdgeResponses]
    found: FoundTiles | None = None


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Edges of one channel over all shots, a row each; `place` numbers each one's tile (or group of blades)."""

    shot: NDArray
    column: NDArray
    row: NDArray
    leg: NDArray
    place: NDArray
    x: NDArray
    y: NDArray
    normal: NDArray
    angle_deg: NDArray
    direction: NDArray
    mtf50: NDArray
    sigma: NDArray
    mtf: NDArray
    mtf_sigma: NDArray
    rise_px: NDArray
    overshoot: NDArray
    contrast_to_noise: NDArray
    why: NDArray


def edge_table(shots: Sequence[ShotEdges], channel: str, size: tuple[int, int]) -> EdgeTable:
    parts, begin = [], 0
    for part in shots:
        if channel not in part.responses:
            continue
        r = part.responses[channel]
        n = len(r)
        if part.found is None:
            column, row, place, leg = np.arange(n), np.zeros(n, int), np.arange(n), np.full(n, "blade")
        else:
            column, row = np.repeat(part.found.column, 3), np.repeat(part.found.row, 3)
            place, leg = np.repeat(np.arange(n // 3), 3), np.tile(np.array(LEGS), n // 3)
        direction = frame.edge_direction(r.x, r.y, r.angle_deg, size)
        parts.append(
            EdgeTable(
                np.full(n, part.shot),
                column,
                row,
                leg,
                place + begin,
                r.x,
                r.y,
                r.normal,
                r.angle_deg,
                direction,
                r.mtf50,
                r.mtf50_sigma,
                r.mtf,
                r.mtf_sigma,
                r.rise_px,
                r.overshoot,
                r.contrast_to_noise,
                r.why.astype("<U96"),
            )
        )
        begin = begin + int(place.max(initial=-1)) + 1
    names = EdgeTable.__dataclass_fields__
    table = EdgeTable(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})
    return _with_blades_together(table, size)


BLADES_TOGETHER = 0.3
"""Free edges within a square of so many half-diagonals count as of one place, whichever shots they are from."""


def _with_blades_together(table: EdgeTable, size: tuple[int, int]) -> EdgeTable:
    """The table with free edges that lie near each other in one place: each tells what others leave."""
    free = np.flatnonzero(table.leg == "blade")
    if not len(free):
        return table
    side = BLADES_TOGETHER * frame.half_diagonal(size)
    x, y = table.x[free], table.y[free]
    zone = frame.zone_index(x, y, size)
    key = np.stack([zone, *(np.floor(a / side).astype(int) * (zone > 0) for a in (x, y))])
    place = table.place.copy()
    place[free] = place.max(initial=0) + 1 + np.unique(key, axis=1, return_inverse=True)[1].ravel()
    return replace(table, place=place)


NEIGHBOURS = 8
"""Like edges around each that it is held against."""


ODD = 5.0
"""An edge is odd when farther off its neighbours than so many times their common spread ..."""


ODD_AT_LEAST = 0.08
"""... and by more than this share."""


def with_odd_ones_named(table: EdgeTable) -> EdgeTable:
    """The table with a reason beside edges that are far off the like edges around them (a scratch, a hair)."""
    why = table.why.copy()
    for leg in np.unique(table.leg):
        if leg == "blade":
            continue
        here = np.flatnonzero((why == "") & (table.leg == leg))
        off, limit = _off_neighbours(table, here)
        odd = np.abs(off) > limit
        sharper = np.where(off[odd] > 0, "sharper", "softer")
        percent = np.abs(np.expm1(off[odd])) * 100
        why[here[odd]] = [f"{p:.0f} % {s} than the edges around it" for p, s in zip(percent, sharper, strict=True)]
    return replace(table, why=why)


def _off_neighbours(table: EdgeTable, here: NDArray) -> tuple[NDArray, NDArray]:
    """How far ln MTF50 lies off a plane's robust fit to the nearest like edges, and how far it may."""
    if len(here) < NEIGHBOURS + 1:
        return np.zeros(len(here)), np.full(len(here), np.inf)
    x, y, value = table.x[here], table.y[here], np.log(table.mtf50[here])
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    near = np.argsort(away, axis=1)[:, 1 : NEIGHBOURS + 1]
    scale = away[np.arange(len(here))[:, None], near].max(axis=1)
    lever = np.stack(
        [np.ones(near.shape), (x[near] - x[:, None]) / scale[:, None], (y[near] - y[:, None]) / scale[:, None]],
        axis=2,
    )
    weight = np.ones(near.shape)
    for _ in range(4):
        matrix = np.einsum("nk,nki,nkj->nij", weight, lever, lever) + 0.02 * np.diag([0.0, 1.0, 1.0])
        right = np.einsum("nk,nki,nk->ni", weight, lever, value[near])
        plane = np.linalg.solve(matrix, right[..., None])[..., 0]
        rest = np.abs(np.einsum("nki,ni->nk", lever, plane) - value[near])
        weight = 1 / (1 + (rest / (np.median(rest, axis=1, keepdims=True) * 2 + 1e-4)) ** 2)
    off = value - plane[:, 0]
    spread = 1.4826 * np.median(np.abs(off))
    relative = table.sigma[here] / table.mtf50[here]
    return off, np.maximum(ODD * np.hypot(spread, relative), ODD_AT_LEAST)
