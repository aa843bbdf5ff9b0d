"""Whether an edge's pieces agree on its MTF50: a hair or a shadow pulls some of them, and not the others.

Each sample takes the figure a little its own way. Over the pieces of an edge these pulls scatter by noise and
texture and no more; where something lies along part of the edge, they hang together there. That is looked for in
the pieces and in ever longer runs of them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from lensbench.analysers.edge import _bin_loops as loops
from lensbench.analysers.edge._data import PIECES, near_residuals
from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._intervals import at_mtf50
from lensbench.analysers.edge._samples import pieces_along

RUNS = (1, 2, 4, 8, 12)
"""Pieces that are taken together."""

CHANCE = 1e-3
"""Clean edges' pieces scatter by more than is allowed for with this probability, for each length of the runs."""

ALLOWED = np.array([chi2.isf(CHANCE, PIECES // run) / (PIECES // run) for run in RUNS])
"""Variance of the runs, over that by noise, that chance allows."""


def pulled_apart(fit: EdgeFit) -> NDArray[np.float64]:
    """Variance of the MTF50 by what pulls pieces apart, over that by noise: 0 where chance explains it, (n,).

    Parameters
    ----------
    fit : EdgeFit
        After its last step.
    """
    derivative = at_mtf50(fit)
    by_noise, _, by_texture = (part[:, 0] for part in fit.variances_apart(derivative))
    of_bin = fit.by_bin(derivative)[:, 0]
    tables, data = fit.tables, fit.data
    key, residual = near_residuals(data, fit, tables)
    far = data.far.light - tables.level.ravel().take(fit.far.key).astype(np.float32)
    weight = of_bin / fit.variance
    parts = [
        loops.line_scores(*samples, weight, of_bin, PIECES)
        for samples in (
            (key, data.near_piece, residual),
            (fit.far.key, pieces_along(data.far_tau, PIECES), far),
        )
    ]
    pull, expected = np.sum(parts, axis=0)
    scale = np.maximum(expected.sum(axis=1), 1e-30)
    runs = [pull.reshape(fit.n, PIECES // run, run).sum(axis=2) for run in RUNS]
    seen = np.stack([(together**2).sum(axis=1) / scale for together in runs], axis=1)
    usual = 1 + by_texture / np.maximum(by_noise, 1e-30)
    return np.maximum((seen - ALLOWED * usual[:, None]).max(axis=1), 0)
