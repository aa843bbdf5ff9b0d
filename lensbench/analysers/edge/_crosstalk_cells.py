"""Crosstalk taken off the samples of edges, cell by cell: it is smooth, and needn't be known sample by sample."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _bin_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._data import EdgeData
from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._fit import refitted, with_right_side
from lensbench.analysers.edge._model import EdgeModel

CELLS_ALONG = 12
"""Cells along an edge in which crosstalk counts as even ..."""

TOGETHER, TOGETHER_WITHIN = 4, 12
"""... and across it: the profile's, so many together within so many of its middle, where they are narrow."""

ROUNDS = (3, 2)
"""How often, at most, crosstalk is calculated before the lines are fitted anew ..."""

SETTLED = 1e-4
"""... and what change of it, as a share of the contrast, isn't worth another round."""


def _cells_across() -> NDArray[np.int32]:
    """Which cell across an edge each bin of its profile lies in."""
    from_middle = np.repeat(np.arange(2 * profile.CELLS), profile.FINE) - profile.CELLS
    narrow = (from_middle >= -TOGETHER_WITHIN) & (from_middle < TOGETHER_WITHIN)
    first = np.where(narrow, from_middle // TOGETHER * TOGETHER, from_middle)
    return np.unique(first, return_inverse=True)[1].astype(np.int32)


_ACROSS = _cells_across()
CELLS_ACROSS = int(_ACROSS[-1]) + 1


@dataclass(frozen=True, eq=False)
class Cells:
    """Cells along and across n edges, numbered as in an array of shape (n, CELLS_ACROSS, CELLS_ALONG).

    Attributes
    ----------
    near, far : ndarray of int, shape (samples,)
        The cell of each near and each far sample.
    held : ndarray of int, shape (cells,)
        The cells that hold samples ...
    t, u : ndarray, shape (cells,)
        ... and where these lie on average along the nominal lines, and across.
    """

    near: NDArray[np.int32]
    far: NDArray[np.int32]
    held: NDArray[np.int64]
    t: NDArray[np.float64]
    u: NDArray[np.float64]


class Source(Protocol):
    """What tells the crosstalk in cells."""

    def onto(self, model: EdgeModel, cells: Cells) -> NDArray[np.float64]:
        """In shares of the contrast, shape (n, CELLS_ACROSS, CELLS_ALONG)."""


def without_crosstalk(fit: EdgeFit, source: Source) -> EdgeFit:
    """The fit to samples without the crosstalk, which itself follows from the fitted profiles: by turns.

    Parameters
    ----------
    fit : EdgeFit
        To the samples as they are.
    source : Source
        The crosstalk by what a fit shows.
    """
    shape = (fit.n, CELLS_ACROSS, CELLS_ALONG)
    far, far_sums = _far_cells(fit)
    counted = removed = last = np.zeros(shape)
    for rounds in ROUNDS:
        cells = _cells_of(fit, far, far_sums)
        for k in range(rounds):
            now = source.onto(fit, cells)
            if not now.any():
                return fit
            change, last = np.abs(now - last).max(), now
            if change < SETTLED:
                break
            fit = with_right_side(fit, fit.equations.right - _on_right(fit, cells, now - counted), rescale=k == 0)
            counted = now
        fit = refitted(fit, _less(fit.data, cells, counted - removed))
        removed = counted
    return fit


def _far_cells(fit: EdgeFit) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """The cells of the far samples, and `places_by_cell` of these."""
    samples = fit.data.far
    cell = loops.cells_of(fit.far.key, fit.data.far_tau, _ACROSS, CELLS_ALONG)
    return cell, loops.places_by_cell(cell, samples.t, samples.u, fit.n * CELLS_ACROSS * CELLS_ALONG)


def _cells_of(fit: EdgeFit, far: NDArray, far_sums: NDArray) -> Cells:
    samples = fit.data.near
    near = loops.cells_of(fit.equations.near_key, fit.data.near_tau, _ACROSS, CELLS_ALONG)
    count, t, u = far_sums + loops.places_by_cell(near, samples.t, samples.u, far_sums.shape[1])
    held = np.flatnonzero(count)
    return Cells(near, far, held, t[held] / count[held], u[held] / count[held])


def _on_right(fit: EdgeFit, cells: Cells, light: NDArray) -> NDArray[np.float64]:
    """What light in cells adds to the right side of the profiles' equations."""
    total = loops.binned_by_cell(fit.equations.near_key, cells.near, light, fit.n, profile.BINS)
    total += loops.binned_by_cell(fit.far.key, cells.far, light, fit.n, profile.BINS)
    return profile.onto_basis(total / fit.variance)


def _less(data: EdgeData, cells: Cells, light: NDArray) -> EdgeData:
    """The samples with light in cells taken off."""
    flat = light.astype(np.float32).ravel()
    return data.less(flat.take(cells.near), flat.take(cells.far))
