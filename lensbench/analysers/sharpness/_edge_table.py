"""The edges of a setting's shots as one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import EdgeResponses
from lensbench.findings import Reason
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEGS

FREE_EDGE = "blade"
"""What stands for the leg of an edge that belongs to no tile."""

FREE_EDGES_TOGETHER = 0.3
"""Free edges within a square of so many half-diagonals share one position, whichever shots they are from (chosen
by experience)."""


class ShotEdges(NamedTuple):
    """The measured edges of one shot: of the tiles found (edge 3 i + k is leg k of tile i), or free edges."""

    shot: str
    responses: dict[str, EdgeResponses]
    found: FoundTiles | None = None


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Edges of one channel over all shots, a row each.

    `position` numbers the tile of a shot, or the group of free edges, that an edge belongs to; `reason` says why
    an edge is not used, `Reason.NONE` where it is, `deviation_percent` how far a rejected edge deviates from its
    neighbours (NaN elsewhere); the other columns are those of `EdgeResponses` and `EdgeSharpness`.
    """

    shot: NDArray[np.str_]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    leg: NDArray[np.str_]
    position: NDArray[np.int64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    normal: NDArray[np.float64]
    angle_deg: NDArray[np.float64]
    direction: NDArray[np.str_]
    mtf50: NDArray[np.float64]
    sigma: NDArray[np.float64]
    mtf: NDArray[np.float64]
    mtf_sigma: NDArray[np.float64]
    rise_px: NDArray[np.float64]
    rise_sigma_px: NDArray[np.float64]
    overshoot: NDArray[np.float64]
    contrast_to_noise: NDArray[np.float64]
    nearly_level: NDArray[np.bool_]
    reason: NDArray[np.str_]
    deviation_percent: NDArray[np.float64]

    @property
    def free(self) -> NDArray[np.bool_]:
        """Which edges belong to no tile."""
        return self.leg == FREE_EDGE

    @property
    def used(self) -> NDArray[np.bool_]:
        """Which edges have no reason against them."""
        return self.reason == Reason.NONE


def edge_table(shots: Sequence[ShotEdges], channel: str, size: tuple[int, int]) -> EdgeTable:
    """The edges of one channel over the shots that have it; at least one.

    Parameters
    ----------
    shots : sequence of ShotEdges
        Shots taken alike.
    channel : str
        One of the channels.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    EdgeTable
    """
    parts, begin = [], 0
    for shot in shots:
        if channel in shot.responses:
            parts.append(_rows(shot, channel, size, begin))
            begin += int((parts[-1].position - begin).max(initial=-1)) + 1
    columns = {f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(EdgeTable)}
    return _with_free_edges_grouped(EdgeTable(**columns), size)


def _rows(shot: ShotEdges, channel: str, size: tuple[int, int], first_position: int) -> EdgeTable:
    """The edges of one shot."""
    r = shot.responses[channel]
    n = len(r)
    if shot.found is None:
        column, row, position, leg = np.arange(n), np.zeros(n, int), np.arange(n), np.full(n, FREE_EDGE)
    else:
        column, row = np.repeat(shot.found.column, 3), np.repeat(shot.found.row, 3)
        position, leg = np.repeat(np.arange(n // 3), 3), np.tile(np.array(LEGS), n // 3)
    return EdgeTable(
        shot=np.full(n, shot.shot),
        column=column,
        row=row,
        leg=leg,
        position=position + first_position,
        x=r.x,
        y=r.y,
        normal=r.normal,
        angle_deg=r.angle_deg,
        direction=frame.edge_direction(r.x, r.y, r.angle_deg, size),
        mtf50=r.mtf50,
        sigma=r.mtf50_sigma,
        mtf=r.mtf,
        mtf_sigma=r.mtf_sigma,
        rise_px=r.rise_px,
        rise_sigma_px=r.rise_sigma_px,
        overshoot=r.overshoot,
        contrast_to_noise=r.contrast_to_noise,
        nearly_level=r.nearly_level,
        reason=r.reason.astype("<U96"),
        deviation_percent=np.full(n, np.nan),
    )


def _with_free_edges_grouped(table: EdgeTable, size: tuple[int, int]) -> EdgeTable:
    """The table with free edges near each other in one position: each adds the direction that others lack."""
    free = np.flatnonzero(table.free)
    if not len(free):
        return table
    side = FREE_EDGES_TOGETHER * frame.half_diagonal(size)
    x, y = table.x[free], table.y[free]
    zone = frame.zone_index(x, y, size)
    key = np.stack([zone, *(np.floor(a / side).astype(int) * (zone > 0) for a in (x, y))])
    position = table.position.copy()
    group = np.unique(key, axis=1, return_inverse=True)[1].ravel()
    position[free] = position.max(initial=0) + 1 + group
    return replace(table, position=position)
