"""How much of an edge's light lands far from it: the tails of its line spread, summed over both sides."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._fit import LEAST_AVERAGED, FinalFits
from lensbench.analysers.edge._intervals import unsure_of_tail_light
from lensbench.findings import NORMAL_95

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
    by_noise, by_model : ndarray, shape (n, len(TAIL_STEPS), len(TAIL_STEPS))
        Covariances of the shares: by noise, and because other profiles and another crosstalk from a figure's other
        edges would be no surprise.
    """

    quartile_px: NDArray[np.float64]
    share: NDArray[np.float64]
    by_noise: NDArray[np.float64]
    by_model: NDArray[np.float64]


def tails(last: FinalFits, before: EdgeFit) -> Tails:
    """The tails that edges show: for means, so by their rougher fit.

    Parameters
    ----------
    last : FinalFits
        The last.
    before : EdgeFit
        What was fitted before any crosstalk was taken off. That goes by light that fades as 1/z; a glow fades
        faster, and some of it is taken off wrongly: between none and all of it, with 95 %.
    """
    fit, rougher = last
    everywhere = np.full(fit.n, np.inf)
    quartile = fit.crossing(0.75, everywhere) - fit.crossing(0.25, everywhere)
    distance = TAIL_STEPS * quartile[:, None]
    within, rows = _within(rougher, distance)
    by_noise, too_smooth = rougher.covariances_apart(_derivative(rougher, within, rows))
    taken_off = _within(fit, distance)[0] - _within(before, distance)[0]
    by_crosstalk = taken_off * (unsure_of_tail_light(fit) / NORMAL_95)[:, None]
    # Hidden is what is rough as the samples ask for: less than the rougher fit takes for likely.
    by_model = too_smooth / LEAST_AVERAGED + by_crosstalk[:, :, None] * by_crosstalk[:, None]
    return Tails(quartile, 1 - within, by_noise, by_model)


def _within(fit: EdgeFit, distance: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Share of the light within distances (n, m) of the edges, and the coefficients' weights in it, (n, m, K)."""
    centre = fit.half_crossing()[:, None]
    rows = _rows(centre + distance) - _rows(centre - distance)
    return np.einsum("nmk,nk->nm", rows, fit.coefficients) / _contrast(fit)[:, None], rows


def _derivative(fit: EdgeFit, within: NDArray, rows: NDArray) -> NDArray[np.float64]:
    """The shares' derivative by the coefficients, (n, m, K)."""
    dark, white = profile.plateau_rows()
    return np.asarray((rows - within[..., None] * (white - dark)) / _contrast(fit)[:, None, None])


def _contrast(fit: EdgeFit) -> NDArray[np.float64]:
    dark, white = profile.plateau_rows()
    return np.maximum(fit.coefficients @ (white - dark), 1e-9)


def _rows(distance: NDArray) -> NDArray[np.float64]:
    """The coefficients' weights in the light at distances (n, m) from the line, shape (n, m, K)."""
    value, _ = profile.basis(profile.to_cell(distance.ravel()))
    return value.reshape(*distance.shape, value.shape[-1])
