"""Each edge's light far off, less what diffraction puts there, within one reach for all edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from lensbench.analysers.edge import TAIL_STEPS, EdgeResponses
from lensbench.analysers.glow._diffraction import DiffractionTails

MOST_REACH_PX = 64.0
"""Light is counted no farther from an edge: tiles' far sides are as near (our own choice)."""

REACH_OF_MOST = 10
"""Percent of the edges that may reach less far than the common reach (our own choice)."""

LEAST_OF_REACH = 0.8
"""Edges whose samples go less far than so much of the common reach are left out (our own choice)."""

LEAST_ROOM = 2.0
"""The reach over the distance from which glow counts: less leaves too little to look at (our own choice)."""

DISTANCES = 48
"""Distances from 1 px to the reach at which glow is followed."""

_BETWEEN_STEPS = CubicSpline(np.log(TAIL_STEPS), np.eye(len(TAIL_STEPS)))
"""Weights of the tails in those between, by the logarithm of the distance."""


@dataclass(frozen=True, eq=False)
class Excess:
    """Glow of n edges of one channel.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        The edges' middles in pixels.
    from_px : ndarray, shape (n,)
        Three times the 25-75 % distance, from which light counts.
    share, sigma : ndarray, shape (n,)
        Share of the light from there to the reach, less diffraction's, and its standard deviation by noise ...
    model_sigma : ndarray, shape (n,)
        ... and by the fitted profile, by which all edges are off together.
    diffraction, diffraction_less, diffraction_more : ndarray, shape (n,)
        Diffraction's share there, and by how much less and more it may be, which all edges have in common.
    distance_px : ndarray, shape (m,)
        Distances up to the reach, the same for all edges ...
    farther : ndarray, shape (n, m)
        ... and the share of the light from there to the reach, less diffraction's; nearer than three 25-75 %
        distances, as there.
    diffraction_farther : ndarray, shape (n, m)
        Diffraction's share from there to the reach.
    gradient : ndarray, shape (n, m, T)
        Of `farther` by the edge's tails.
    tail_covariance, tail_model_covariance : ndarray, shape (n, T, T)
        Of these, as `EdgeResponses` has them.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    from_px: NDArray[np.float64]
    share: NDArray[np.float64]
    sigma: NDArray[np.float64]
    model_sigma: NDArray[np.float64]
    diffraction: NDArray[np.float64]
    diffraction_less: NDArray[np.float64]
    diffraction_more: NDArray[np.float64]
    distance_px: NDArray[np.float64]
    farther: NDArray[np.float64]
    diffraction_farther: NDArray[np.float64]
    gradient: NDArray[np.float64]
    tail_covariance: NDArray[np.float64]
    tail_model_covariance: NDArray[np.float64]

    @classmethod
    def joined(cls, parts: Sequence[Excess]) -> Excess:
        """The edges of several shots with one reach."""
        rows = {
            f.name: np.concatenate([getattr(part, f.name) for part in parts])
            for f in fields(cls)
            if f.name != "distance_px"
        }
        return cls(**rows, distance_px=parts[0].distance_px)

    def take(self, which: NDArray) -> Excess:
        """The edges at some indices."""
        rows = {f.name: getattr(self, f.name)[which] for f in fields(self) if f.name != "distance_px"}
        return Excess(**rows, distance_px=self.distance_px)


def common_reach(responses: Sequence[EdgeResponses]) -> float | None:
    """How far most edges' samples go, in pixels; None without any edge."""
    reach = np.concatenate([response.reach_px[response.measured] for response in responses])
    return float(min(np.percentile(reach, REACH_OF_MOST), MOST_REACH_PX)) if len(reach) else None


def excess_of(response: EdgeResponses, diffraction: DiffractionTails, reach_px: float) -> Excess:
    """Glow of each edge that shows it.

    Parameters
    ----------
    response : EdgeResponses
        The edges of one channel.
    diffraction : DiffractionTails
        Of its wavelength and aperture.
    reach_px : float
        Up to where light counts.
    """
    far_enough = response.reach_px >= LEAST_OF_REACH * reach_px
    sharp_enough = TAIL_STEPS[0] * response.quartile_px * LEAST_ROOM <= reach_px
    seen = response.take(response.measured & far_enough & sharp_enough)
    expected = diffraction.at(seen.quartile_px)
    distance = np.geomspace(1.0, reach_px, DISTANCES)
    weights = _weights(np.log(distance / seen.quartile_px[:, None]))
    own, gradient = _within_reach(seen.tail, weights)
    other, _ = _within_reach(expected.share, weights)
    scale = other[:, 0] / np.maximum(expected.share[:, 0], 1e-9)
    return Excess(
        x=seen.x,
        y=seen.y,
        from_px=TAIL_STEPS[0] * seen.quartile_px,
        share=own[:, 0] - other[:, 0],
        sigma=sigma_along(gradient[:, 0], seen.tail_covariance),
        model_sigma=sigma_along(gradient[:, 0], seen.tail_model_covariance),
        diffraction=other[:, 0],
        diffraction_less=scale * expected.less[:, 0],
        diffraction_more=scale * expected.more[:, 0],
        distance_px=distance,
        farther=own - other,
        diffraction_farther=other,
        gradient=gradient,
        tail_covariance=seen.tail_covariance,
        tail_model_covariance=seen.tail_model_covariance,
    )


def sigma_along(gradient: NDArray, covariance: NDArray) -> NDArray[np.float64]:
    """Standard deviations of figures with gradients (n, T) by what has covariances (n, T, T)."""
    return np.sqrt(np.maximum(np.einsum("ni,nij,nj->n", gradient, covariance, gradient), 0))


def _weights(log_step: NDArray) -> NDArray[np.float64]:
    """Weights of the tails at `TAIL_STEPS` in those at other distances, (n, m) to (n, m, T)."""
    return _BETWEEN_STEPS(np.clip(log_step, *np.log(TAIL_STEPS[[0, -1]])))


def _within_reach(tail: NDArray, weights: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Share of the light within the reach that lands beyond each distance, and its gradient by the tails.

    The last of the distances is the reach.
    """
    at = np.einsum("nmt,nt->nm", weights, tail)
    within = 1 - at[:, -1:]
    share = 1 - (1 - at) / within
    return share, (weights - (1 - share)[..., None] * weights[:, -1:]) / within[..., None]
