"""Edges whose sharpness deviates from that of the edges around them: a scratch, a hair on the sheet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.sharpness._edge_table import FREE_EDGE, EdgeTable
from lensbench.findings import Reason
from lensbench.robust import cauchy_weight, robust_sigma

NEIGHBOURS = 8
"""Edges of the same leg that each is compared with."""

OUTLIER = 5.0
"""An edge is an outlier where it deviates from its neighbours by more than so many standard deviations ..."""

LEAST_DEVIATION = 0.08
"""... and by more than this share of its MTF50 (chosen by experience)."""

MOST_UNSURE = 0.1
"""No edge's own relative standard deviation counts for more there: a hair that makes it unsure makes it wrong."""

REWEIGHTINGS = 4
"""Fits of each plane, weighted anew by its residuals (converged to a percent of the residuals by then)."""

SLOPE_PRIOR = 0.02
"""Weight of a level plane against that of one neighbour, for edges whose neighbours lie on one line."""


def with_outliers_rejected(table: EdgeTable) -> EdgeTable:
    """The table with a reason beside edges that deviate from the edges of the same leg around them."""
    reason, percent = table.reason.copy(), table.deviation_percent.copy()
    for leg in np.unique(table.leg):
        if leg == FREE_EDGE:
            continue
        here = np.flatnonzero((reason == Reason.NONE) & (table.leg == leg))
        deviation, limit = _deviations(table, here)
        outlier = np.abs(deviation) > limit
        reason[here[outlier]] = np.where(deviation[outlier] > 0, Reason.SHARPER, Reason.SOFTER)
        percent[here[outlier]] = 100 * np.expm1(deviation[outlier])
    return replace(table, reason=reason, deviation_percent=percent)


def _deviations(table: EdgeTable, here: NDArray) -> tuple[NDArray, NDArray]:
    """Deviation of ln MTF50 from a robust plane through the nearest edges, and its limit, for rows `here`."""
    if len(here) < NEIGHBOURS + 1:
        return np.zeros(len(here)), np.full(len(here), np.inf)
    x, y, value = table.x[here], table.y[here], np.log(table.mtf50[here])
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    near = np.argsort(away, axis=1)[:, 1 : NEIGHBOURS + 1]
    scale = away[np.arange(len(here))[:, None], near].max(axis=1)
    basis = np.stack(
        [np.ones(near.shape), (x[near] - x[:, None]) / scale[:, None], (y[near] - y[:, None]) / scale[:, None]],
        axis=2,
    )
    weight = np.ones(near.shape)
    for _ in range(REWEIGHTINGS):
        matrix = np.einsum("nk,nki,nkj->nij", weight, basis, basis) + SLOPE_PRIOR * np.diag([0.0, 1.0, 1.0])
        right = np.einsum("nk,nki,nk->ni", weight, basis, value[near])
        plane = np.linalg.solve(matrix, right[..., None])[..., 0]
        residual = np.abs(np.einsum("nki,ni->nk", basis, plane) - value[near])
        weight = cauchy_weight(residual, np.median(residual, axis=1, keepdims=True) * 2 + 1e-4)
    deviation = value - plane[:, 0]
    common = robust_sigma(deviation, about=0.0)
    relative = np.minimum(table.sigma[here] / table.mtf50[here], MOST_UNSURE)
    return deviation, np.maximum(OUTLIER * np.hypot(common, relative), LEAST_DEVIATION)
