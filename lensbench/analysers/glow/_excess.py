"""Each edge's light far off, less what diffraction puts there, within one reach for all edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

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
        Share of the light from there to the reach, less diffraction's, and its standard deviation by noise.
    diffraction, diffraction_less, diffraction_more : ndarray, shape (n,)
        Diffraction's share there, and by how much less and more it may be, which all edges have in common.
    distance_px : ndarray, shape (m,)
        Distances up to the reach, the same for all edges ...
    farther : ndarray, shape (n, m)
        ... and the share of the light from there to the reach, less diffraction's.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    from_px: NDArray[np.float64]
    share: NDArray[np.float64]
    sigma: NDArray[np.float64]
    diffraction: NDArray[np.float64]
    diffraction_less: NDArray[np.float64]
    diffraction_more: NDArray[np.float64]
    distance_px: NDArray[np.float64]
    farther: NDArray[np.float64]

    @classmethod
    def joined(cls, parts: Sequence[Excess]) -> Excess:
        """The edges of several shots with one reach."""
        rows = {
            f.name: np.concatenate([getattr(part, f.name) for part in parts])
            for f in fields(cls)
            if f.name != "distance_px"
        }
        return cls(**rows, distance_px=parts[0].distance_px)


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
    weights = _reach_weights(seen.quartile_px, reach_px)
    expected = diffraction.at(seen.quartile_px)
    own, own_gradient = _within_reach(seen.tail, weights)
    other, _ = _within_reach(expected.share, weights)
    scale = other / np.maximum(expected.share[:, 0], 1e-9)
    variance = np.einsum("ni,nij,nj->n", own_gradient, seen.tail_covariance, own_gradient)
    distance = np.geomspace(1.0, reach_px, DISTANCES)
    return Excess(
        x=seen.x,
        y=seen.y,
        from_px=TAIL_STEPS[0] * seen.quartile_px,
        share=own - other,
        sigma=np.sqrt(variance),
        diffraction=other,
        diffraction_less=scale * expected.less[:, 0],
        diffraction_more=scale * expected.more[:, 0],
        distance_px=distance,
        farther=_farther(seen.tail - expected.share, seen.quartile_px, distance, weights),
    )


def _reach_weights(quartile_px: NDArray, reach_px: float) -> NDArray[np.float64]:
    """Weights of an edge's tails in its tail at the reach, by the logarithm of the distance, shape (n, T)."""
    at = np.interp(np.log(reach_px / quartile_px), np.log(TAIL_STEPS), np.arange(len(TAIL_STEPS)))
    return np.maximum(1 - np.abs(at[:, None] - np.arange(len(TAIL_STEPS))), 0)


def _within_reach(tail: NDArray, weights: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Share of the light within reach that lands beyond the first step, and its gradient by the tails."""
    beyond = (tail * weights).sum(axis=1)
    share = (tail[:, 0] - beyond) / (1 - beyond)
    gradient = weights * ((share - 1) / (1 - beyond))[:, None]
    gradient[:, 0] += 1 / (1 - beyond)
    return share, gradient


def _farther(excess: NDArray, quartile_px: NDArray, distance: NDArray, weights: NDArray) -> NDArray[np.float64]:
    """Tails at common distances, less those at the reach, shape (n, m); nearer than the first step, as there."""
    rows = [
        np.interp(np.log(distance / width), np.log(TAIL_STEPS), tail)
        for width, tail in zip(quartile_px, excess, strict=True)
    ]
    at_reach = (excess * weights).sum(axis=1)[:, None]
    return np.reshape(rows, (len(excess), len(distance))) - at_reach
