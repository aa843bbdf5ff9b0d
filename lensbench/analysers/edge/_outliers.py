"""Hot pixels and dirt among the samples of edges, left out by their residuals."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _bin_loops as loops
from lensbench.analysers.edge._data import EdgeData, FarBins
from lensbench.analysers.edge._model import EdgeModel, Tables

OUTLIER = 6.0
"""Samples farther off than so many standard deviations are hot pixels or dirt ..."""

OUTLIER_FROM = 0.01
"""... if by more than this share of the contrast: less does no harm, and the profile's knots may miss as much."""


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
    data = EdgeData.of(data.near.keep(near_good), data.far.keep(far_good), model.segments)
    return data, FarBins.of(far.key[far_good], data, model.n), key[near_good], residual[near_good]


def _usual_variance(model: EdgeModel, key: NDArray, residual: NDArray) -> NDArray[np.float64]:
    """Variance by bin, in the core no larger than most samples there show.

    A few spoiled samples in the rise make its line look ragged, and would hide behind that.
    """
    in_core = model.side() == 0
    weight = np.where(in_core, model.variance**-0.5, 0)
    usual = loops.mean_size(key, residual, weight) / np.sqrt(2 / np.pi)
    return np.where(in_core, np.clip(usual, 0.01, 1)[:, None] ** 2, 1) * model.variance
