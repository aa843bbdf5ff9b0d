"""One colour's displacement against green at every tile, from the tile's own edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.fringing._colour_field import ColourField
from lensbench.analysers.fringing._tile_shifts import UNCERTAIN_PX, TileShifts

OUTLIER = 5.0
"""A tile whose common offset deviates from the smooth one by more standard deviations has a faulty edge (common
practice)."""


@dataclass(frozen=True, eq=False)
class TileDisplacements:
    """One colour's displacement at each tile.

    Attributes
    ----------
    position : ndarray, shape (tiles, 2)
        Where it holds, in pixels.
    shift : ndarray, shape (tiles, 2)
        (dx, dy) in pixels; 0 where it could not be measured.
    covariance : ndarray, shape (tiles, 2, 2)
        Of `shift`, from the edges' noise.
    measured : ndarray of bool, shape (tiles,)
        Where there is a displacement.
    """

    position: NDArray[np.float64]
    shift: NDArray[np.float64]
    covariance: NDArray[np.float64]
    measured: NDArray[np.bool_]


def solve_tiles(shifts: TileShifts, field: ColourField | None) -> TileDisplacements:
    """Displacement of every tile from its own edges.

    The field serves for three small corrections: the change of the displacement within a tile is subtracted; tiles
    with two usable edges take the smooth common offset; and an edge that disagrees with the tile's other two is
    rejected.

    Parameters
    ----------
    shifts : TileShifts
        The colour's edges against green's.
    field : ColourField or None
        Without one only tiles with three edges are solved.

    Returns
    -------
    TileDisplacements
    """
    usable, shift = shifts.usable, shifts.shift
    tiles = len(usable)
    found, covariance = np.zeros((tiles, 2)), np.zeros((tiles, 2, 2))
    if field is not None:
        within = field.at(shifts.points).mean(axis=2) - field.at(shifts.position)[:, None]
        shift = shift - (within * shifts.normal).sum(axis=-1)
        common = field.common(shifts.position, shifts.half_turned)
        usable = usable & ~_outliers(shifts, shift, field, common)
        kept = usable & field.fitted
        for tile in np.flatnonzero(kept.sum(axis=1) == 2):
            two = kept[tile]
            solver = np.linalg.inv(shifts.normal[tile, two])
            found[tile] = solver @ (shift - common[:, None])[tile, two]
            noise = np.diag(np.square(shifts.sigma[tile, two])) + field.common_sigma**2
            covariance[tile] = solver @ noise @ solver.T
    whole = usable.all(axis=1)
    solvers = _solvers(shifts.normal[whole])[:, :2]
    found[whole] = np.einsum("tij,tj->ti", solvers, shift[whole])
    covariance[whole] = np.einsum("tij,tj,tkj->tik", solvers, np.square(shifts.sigma[whole]), solvers)
    measured = (covariance[:, 0, 0] > 0) & (np.trace(covariance, axis1=1, axis2=2) <= 2 * UNCERTAIN_PX**2)
    return TileDisplacements(shifts.position, found, covariance, measured)


def _solvers(normal: NDArray) -> NDArray[np.float64]:
    """Matrices from three edges' shifts to dx, dy and the common offset, shape (tiles, 3, 3)."""
    return np.linalg.inv(np.concatenate([normal, np.ones((*normal.shape[:2], 1))], axis=-1))


def _outliers(shifts: TileShifts, shift: NDArray, field: ColourField, common: NDArray) -> NDArray[np.bool_]:
    """In tiles whose own common offset deviates from the smooth one, the edge with the largest residual."""
    whole = shifts.usable.all(axis=1)
    solver = np.zeros((len(shift), 3))
    solver[whole] = _solvers(shifts.normal[whole])[:, 2]
    own = (solver * shift).sum(axis=1)
    sigma = np.sqrt((np.square(solver) * np.square(shifts.sigma)).sum(axis=1) + field.common_sigma**2)
    faulty = whole & (np.abs(own - common) > OUTLIER * sigma)
    along_normal = (field.at(shifts.position)[:, None] * shifts.normal).sum(axis=-1)
    residual = np.abs(shift - along_normal - common[:, None])
    worst = np.arange(3) == residual.argmax(axis=1)[:, None]
    return worst & faulty[:, None]
