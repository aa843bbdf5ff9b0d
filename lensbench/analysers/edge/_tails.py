"""How much of an edge's light lands far from it: the tails of its line spread, summed over both sides."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._fit import EdgeFit

TAIL_STEPS = 3.0 * 2.0 ** (np.arange(12) / 2)
"""Distances from the edge at which tails are given, in 25-75 % distances of that edge: from 3 to 136."""


class Tails(NamedTuple):
    """Tails of n edges.

    Attributes
    ----------
    quartile_px : ndarray, shape (n,)
        Distance from where a profile crosses 25 % of its contrast to where it crosses 75 %.
    share : ndarray, shape (n, len(TAIL_STEPS))
        Share of the light that lands farther than so many of these distances from the edge, to either side.
    covariance : ndarray, shape (n, len(TAIL_STEPS), len(TAIL_STEPS))
        Of the shares, by noise.
    """

    quartile_px: NDArray[np.float64]
    share: NDArray[np.float64]
    covariance: NDArray[np.float64]


def tails(fit: EdgeFit) -> Tails:
    """The tails that a fit shows."""
    everywhere = np.full(fit.n, np.inf)
    quartile = fit.crossing(0.75, everywhere) - fit.crossing(0.25, everywhere)
    distance, centre = TAIL_STEPS * quartile[:, None], fit.half_crossing()[:, None]
    beyond, before = _rows(centre + distance), _rows(centre - distance)
    dark, white = profile.plateau_rows()
    contrast = np.maximum(fit.coefficients @ (white - dark), 1e-9)[:, None]
    within = np.einsum("nmk,nk->nm", beyond - before, fit.coefficients) / contrast
    derivative = (beyond - before - within[..., None] * (white - dark)) / contrast[..., None]
    return Tails(quartile, 1 - within, fit.joint_covariance(derivative))


def _rows(distance: NDArray) -> NDArray[np.float64]:
    """The coefficients' weights in the light at distances (n, m) from the line, shape (n, m, K)."""
    value, _ = profile.basis(profile.to_cell(distance.ravel()))
    return value.reshape(*distance.shape, value.shape[-1])
