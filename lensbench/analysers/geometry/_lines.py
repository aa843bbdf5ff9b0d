"""The edges of the target as lines: as measured in one shot, and as printed on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.robust import comparably_known
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS, Layout

MIDDLE_OVER_MEAN = 1.5
"""Standard deviation of the position of a line's middle over that of the mean along it: the parabola through the
line (its curvature) is fitted too: 3/2 for least squares on evenly spaced samples."""


@dataclass(frozen=True, eq=False)
class Lines:
    """Edges of tiles as measured in one shot and one channel.

    Attributes
    ----------
    column, row : ndarray of int, shape (edges,)
        The tile's lattice indices.
    leg : ndarray of int, shape (edges,)
        Which of `LEGS`.
    point : ndarray, shape (edges, 2)
        A position (x, y) on the edge, in pixels, near its middle.
    normal : ndarray, shape (edges, 2)
        The edge's unit normal there, towards the bright side.
    sigma : ndarray, shape (edges,)
        Standard deviation of the position along the normal, in pixels.
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    leg: NDArray[np.int64]
    point: NDArray[np.float64]
    normal: NDArray[np.float64]
    sigma: NDArray[np.float64]

    @classmethod
    def measured(cls, found: FoundTiles, responses: EdgeResponses, size: tuple[int, int]) -> Lines:
        """The measured edges of the tiles found, without slivers.

        Parameters
        ----------
        found : FoundTiles
            The tiles of the shot.
        responses : EdgeResponses
            Their edges in one channel; edge 3 i + k is leg k of tile i.
        size : (int, int)
            Width and height of the frame in pixels.

        Returns
        -------
        Lines
        """
        point = np.stack([responses.x, responses.y], axis=-1)
        good = responses.measured & np.all((point >= 0) & (point <= np.asarray(size) - 1), axis=1)
        sigma = MIDDLE_OVER_MEAN * np.where(good, responses.offset_sigma_px, 0.0)
        good = comparably_known(sigma, good)
        column, row = np.repeat(found.column, 3), np.repeat(found.row, 3)
        leg = np.tile(np.arange(3), len(found.column))
        return cls(column[good], row[good], leg[good], point[good], responses.normal[good], sigma[good])

    @property
    def tile(self) -> NDArray[np.int64]:
        """The tile of each edge, counted from 0 over the tiles with an edge, shape (edges,)."""
        return np.unique(np.stack([self.column, self.row]), axis=1, return_inverse=True)[1].ravel()


@dataclass(frozen=True, eq=False)
class PrintedLines:
    """The same edges as designed, in millimetres from the target's centre: a point on each, its outward normal."""

    point: NDArray[np.float64]
    outward: NDArray[np.float64]

    @classmethod
    def of(cls, lines: Lines, layout: Layout, mirrored: bool) -> PrintedLines:
        """Look the measured edges up in the layout; `mirrored` for a sheet seen from its back."""
        order = {tile: i for i, tile in enumerate(zip(layout.column.tolist(), layout.row.tolist(), strict=True))}
        tiles = zip(lines.column.tolist(), lines.row.tolist(), strict=True)
        corners = layout.corners_mm[[order[tile] for tile in tiles]]
        if mirrored:
            corners = corners * np.array([-1.0, 1.0])
        ends = np.asarray(LEG_CORNERS)[lines.leg]
        edge = np.arange(len(ends))
        start, end = corners[edge, ends[:, 0]], corners[edge, ends[:, 1]]
        along = end - start
        normal = np.stack([along[:, 1], -along[:, 0]], axis=-1) / np.hypot(along[:, 0], along[:, 1])[:, None]
        inward = corners.mean(axis=1) - start
        normal[(normal * inward).sum(axis=-1) > 0] *= -1
        return cls((start + end) / 2, normal)
