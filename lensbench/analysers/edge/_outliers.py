"""Hot pixels and dirt among the samples of edges, left out by their residuals."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _bin_loops as loops
from lensbench.analysers.edge._data import PIECES, EdgeData, FarBins
from lensbench.analysers.edge._model import EdgeModel, Tables
from lensbench.analysers.edge._samples import EdgeSamples, pieces_along

OUTLIER = 6.0
"""Samples farther off than so many standard deviations are hot pixels or dirt ..."""

OUTLIER_FROM = 0.01
"""... if by more than this share of the contrast: less does no harm, and the profile's knots may miss as much."""

SEVERAL = 3
"""Where so many samples of a piece of an edge are outliers, the whole piece is left out ..."""

MOST_SPOILED = 0.25
"""... if no larger share of the edge's pieces is."""


def without_outliers(
    data: EdgeData, far: FarBins, model: EdgeModel, tables: Tables, key: NDArray, residual: NDArray
) -> tuple[EdgeData, FarBins, NDArray, NDArray]:
    """The samples without outliers, the far ones' bins, and keys and residuals of the near ones.

    Parameters
    ----------
    key, residual : ndarray, shape (samples,)
        Bin and residual of the near samples.
    """
    limit = np.maximum(OUTLIER**2 * _usual_variance(model, key, residual), OUTLIER_FROM**2)
    near_good = loops.within(key, residual, limit)
    far_good = loops.within(far.key, data.far.light - tables.level.take(far.key), limit)
    if near_good.all() and far_good.all():
        return data, far, key, residual
    near_good &= ~_in_spoiled_pieces(data.near, data.near_piece, near_good, model.n)
    far_good &= ~_in_spoiled_pieces(data.far, pieces_along(data.far_tau, PIECES), far_good, model.n)
    data = EdgeData.of(data.near.keep(near_good), data.far.keep(far_good), model.segments)
    return data, FarBins.of(far.key[far_good], data, model.n), key[near_good], residual[near_good]


def _in_spoiled_pieces(samples: EdgeSamples, piece: NDArray, good: NDArray, n: int) -> NDArray[np.bool_]:
    """Which samples lie in pieces of their edge with several outliers: hairs and specks have soft rims."""
    place = samples.edge * PIECES + piece
    bad = np.bincount(place[~good], minlength=n * PIECES).reshape(n, PIECES)
    spoiled = bad >= SEVERAL
    # Where much of an edge is so, it is no hair.
    spoiled &= (spoiled.mean(axis=1) <= MOST_SPOILED)[:, None]
    return spoiled.ravel()[place]


def _usual_variance(model: EdgeModel, key: NDArray, residual: NDArray) -> NDArray[np.float64]:
    """Variance by bin, in the core no larger than most samples there show.

    A few spoiled samples in the rise make its line look ragged, and would hide behind that.
    """
    in_core = model.side() == 0
    weight = np.where(in_core, model.variance**-0.5, 0)
    usual = loops.mean_size(key, residual, weight) / np.sqrt(2 / np.pi)
    return np.where(in_core, np.clip(usual, 0.01, 1)[:, None] ** 2, 1) * model.variance
