"""Each edge's light far off, less what diffraction puts there, within one reach for all edges."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.special import ndtri

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

MOST_GLOW = 0.4
"""Shares of glow up to which a core is told from it: more takes half of the light out of the core's width."""

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
    distance_px : ndarray, shape (m,)
        Distances up to the reach, the same for all edges ...
    farther : ndarray, shape (n, m)
        ... and the share of the light from there to the reach, less diffraction's; nearer than three 25-75 %
        distances, as there.
    diffraction : ndarray, shape (n, m)
        Diffraction's share from there to the reach ...
    diffraction_off, diffraction_less, diffraction_more : ndarray, shape (n, m)
        ... by how much it may be off (95 %), and by how much less and more it is at most besides: in all edges
        alike.
    gradient : ndarray, shape (n, m, T)
        Of `farther` by the edge's tails.
    tail_covariance, tail_model_covariance : ndarray, shape (n, T, T)
        Of these, as `EdgeResponses` has them.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    from_px: NDArray[np.float64]
    distance_px: NDArray[np.float64]
    farther: NDArray[np.float64]
    diffraction: NDArray[np.float64]
    diffraction_off: NDArray[np.float64]
    diffraction_less: NDArray[np.float64]
    diffraction_more: NDArray[np.float64]
    gradient: NDArray[np.float64]
    tail_covariance: NDArray[np.float64]
    tail_model_covariance: NDArray[np.float64]

    @property
    def share(self) -> NDArray[np.float64]:
        """Share of the light from three 25-75 % distances to the reach, less diffraction's, shape (n,)."""
        return self.farther[:, 0]

    @property
    def sigma(self) -> NDArray[np.float64]:
        """Its standard deviation by noise ..."""
        return sigma_along(self.gradient[:, 0], self.tail_covariance)

    @property
    def model_sigma(self) -> NDArray[np.float64]:
        """... and by the fitted profile, by which all edges are off together."""
        return sigma_along(self.gradient[:, 0], self.tail_model_covariance)

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


def with_tails(response: EdgeResponses, reach_px: float) -> EdgeResponses:
    """The edges of one channel that show their tails up to a reach."""
    far_enough = response.reach_px >= LEAST_OF_REACH * reach_px
    sharp_enough = TAIL_STEPS[0] * response.quartile_px * LEAST_ROOM <= reach_px
    return response.take(response.measured & far_enough & sharp_enough)


def excess_of(seen: EdgeResponses, diffraction: DiffractionTails, reach_px: float) -> Excess:
    """Glow of each edge.

    Parameters
    ----------
    seen : EdgeResponses
        Edges of one channel that show their tails.
    diffraction : DiffractionTails
        Of its wavelength and aperture.
    reach_px : float
        Up to where light counts.
    """
    from_px = TAIL_STEPS[0] * seen.quartile_px
    distance = np.geomspace(1.0, reach_px, DISTANCES)
    counted = np.maximum(distance, from_px[:, None])
    as_wide, of_edges = diffraction.at(seen.quartile_px), _weights(counted, seen.quartile_px)
    own, gradient = _within_reach(seen.tail, of_edges)

    def put_there(tail: Callable[[DiffractionTails], NDArray]) -> NDArray[np.float64]:
        """What diffraction does, by tails for a width: of a core that is narrower than the edge, by its glow."""
        glow = own[:, 0] - _within_reach(tail(as_wide), of_edges)[0][:, 0]
        core_px = _core_width(seen.quartile_px, glow)
        return _within_reach(tail(diffraction.at(core_px)), _weights(counted, core_px))[0]

    other = put_there(lambda tails: tails.share)
    return Excess(
        x=seen.x,
        y=seen.y,
        from_px=from_px,
        distance_px=distance,
        farther=own - other,
        diffraction=other,
        diffraction_off=diffraction.off * other,
        diffraction_less=other - put_there(lambda tails: tails.share - tails.less),
        diffraction_more=put_there(lambda tails: tails.share + tails.more) - other,
        gradient=gradient,
        tail_covariance=seen.tail_covariance,
        tail_model_covariance=seen.tail_model_covariance,
    )


def sigma_along(gradient: NDArray, covariance: NDArray) -> NDArray[np.float64]:
    """Standard deviations of figures with gradients (n, ..., T) by what has covariances (n, T, T): (n, ...)."""
    along = gradient.reshape(len(gradient), -1, gradient.shape[-1])
    square = np.einsum("nmi,nmi->nm", along @ covariance, along)
    return np.sqrt(np.maximum(square, 0)).reshape(gradient.shape[:-1])


def _core_width(quartile_px: NDArray, glow: NDArray) -> NDArray[np.float64]:
    """25-75 % distances of the cores of edges: glow makes the edges' own wider.

    Half of an edge's light lies within its 25-75 % distance, next to nothing of which is glow: of the core's own
    light that is more than half.

    Parameters
    ----------
    quartile_px, glow : ndarray, shape (n,)
        25-75 % distances, and shares of glow. The core is taken for a Gaussian.
    """
    return quartile_px / _wider(np.clip(glow, 0, MOST_GLOW))


def narrowest_core(quartile_px: NDArray) -> float:
    """The least 25-75 % distance that cores of some edges may have."""
    return float(quartile_px.min() / _wider(MOST_GLOW))


def _wider(glow: ArrayLike) -> NDArray[np.float64]:
    """How many times as wide as its core an edge is."""
    return np.asarray(ndtri(0.5 + 0.25 / (1 - np.asarray(glow))) / ndtri(0.75))


def _weights(distance: NDArray, width: NDArray) -> NDArray[np.float64]:
    """Weights of the tails of edges so wide, (n,), in those at distances (n, m): (n, m, T)."""
    return _BETWEEN_STEPS(np.clip(np.log(distance / width[:, None]), *np.log(TAIL_STEPS[[0, -1]])))


def _within_reach(tail: NDArray, weights: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Share of the light within the reach that lands beyond each distance, and its gradient by the tails.

    The last of the distances is the reach.
    """
    at = np.einsum("nmt,nt->nm", weights, tail)
    within = 1 - at[:, -1:]
    share = 1 - (1 - at) / within
    return share, (weights - (1 - share)[..., None] * weights[:, -1:]) / within[..., None]
