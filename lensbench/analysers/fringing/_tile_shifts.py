"""One colour's edges against green's, by tile: what the field and the tiles' displacements are fitted to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.frame import centre_of
from lensbench.robust import comparably_known
from lensbench.target.finder import FoundTiles

UNCERTAIN_PX = 0.25
"""An edge or a tile whose standard deviation exceeds this counts as not measured (chosen by experience)."""


@dataclass(frozen=True, eq=False)
class TileShifts:
    """Shift of one colour's edges against green's, by tile.

    Attributes
    ----------
    position : ndarray, shape (tiles, 2)
        Where the tile's displacement is wanted, in pixels.
    points : ndarray, shape (tiles, 3, 2, 2)
        Two positions on each edge, whose mean approximates the mean along the edge.
    normal : ndarray, shape (tiles, 3, 2)
        Its unit normal towards the bright side.
    shift, sigma : ndarray, shape (tiles, 3)
        Position of the colour's edge along the normal less green's, in pixels, and its standard deviation.
    usable : ndarray of bool, shape (tiles, 3)
        Where there is a shift; elsewhere the other arrays may be anything finite.
    half_turned : ndarray of bool, shape (tiles,)
        Whether the tile's radial leg points towards the frame's centre, not outward.
    """

    position: NDArray[np.float64]
    points: NDArray[np.float64]
    normal: NDArray[np.float64]
    shift: NDArray[np.float64]
    sigma: NDArray[np.float64]
    usable: NDArray[np.bool_]
    half_turned: NDArray[np.bool_]

    @classmethod
    def measured(
        cls, found: FoundTiles, green: EdgeResponses, colour: EdgeResponses, size: tuple[int, int]
    ) -> TileShifts:
        """From the edges of a shot's tiles in both channels; edge 3 i + k is leg k of tile i."""
        usable = green.measured & colour.measured
        # Offsets are means over the used length: a curved edge used over less of its length would seem to move.
        half = np.stack([np.where(usable, response.length_px, 2.0) / 2 for response in (green, colour)])
        curvature = np.where(usable, green.curvature_px, 0.0) / half[0] ** 2
        offset = np.where(usable, colour.offset_px - green.offset_px, 0.0)
        shift = offset - curvature * (half[1] ** 2 - half[0] ** 2) / 3
        sigma = np.where(usable, np.hypot(colour.offset_sigma_px, green.offset_sigma_px), 1.0)
        usable = comparably_known(sigma, usable) & (sigma <= UNCERTAIN_PX)
        # A tile clipped by the border gives the displacement of the nearest position in the frame.
        position = np.clip(_incentres(found.corners_px, green), 0, np.asarray(size) - 1)
        along = found.corners_px[:, 1] - found.corners_px[:, 0]
        outward = found.corners_px.mean(axis=1) - centre_of(size)
        return cls(
            position=position,
            points=_along_edges(green, usable),
            # The colour's own normal: strong fringing turns its edges a little against green's.
            normal=colour.normal.reshape(-1, 3, 2),
            shift=shift.reshape(-1, 3),
            sigma=sigma.reshape(-1, 3),
            usable=usable.reshape(-1, 3),
            half_turned=(along * outward).sum(axis=1) < 0,
        )


def _along_edges(green: EdgeResponses, usable: NDArray) -> NDArray[np.float64]:
    """Two positions on each edge whose mean is the mean along it for any cubic (Gauss-Legendre quadrature)."""
    middle, (across, down) = np.stack([green.x, green.y], axis=-1), green.normal.T
    half = np.where(usable, green.length_px, 0.0)[:, None] / 2
    step = half / np.sqrt(3) * np.stack([-down, across], axis=-1)
    return np.stack([middle - step, middle + step], axis=1).reshape(-1, 3, 2, 2)


def _incentres(corners: NDArray, green: EdgeResponses) -> NDArray[np.float64]:
    """Incentres of tiles, shape (tiles, 2): at equal distances from all three edges as measured in green.

    Corners are found to a pixel only, over which strong fringing changes; they serve where an edge is missing.
    """
    facing = np.linalg.norm(np.roll(corners, -1, axis=1) - np.roll(corners, 1, axis=1), axis=-1)
    incentres = np.einsum("tkc,tk->tc", corners, facing / facing.sum(axis=1, keepdims=True))
    whole = green.measured.reshape(-1, 3).all(axis=1)
    normal = green.normal.reshape(-1, 3, 2)[whole]
    middle = np.stack([green.x, green.y], axis=-1).reshape(-1, 3, 2)[whole]
    columns = np.concatenate([normal, np.ones((len(normal), 3, 1))], axis=2)
    incentres[whole] = np.linalg.solve(columns, (normal * middle).sum(axis=2)[..., None])[:, :2, 0]
    return incentres
