"""How far from the edge half of a zone's glow lies, and how sure that is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.glow._excess import Excess, sigma_along
from lensbench.analysers.glow._means import sigma_of_mean
from lensbench.findings import NORMAL_95, Figure


def glow_width(excess: Excess, weight: NDArray) -> Figure | None:
    """Distance from the edge within which half of the glow lies; None where the tails don't tell.

    The share of the light beyond a distance, less half of all glow, falls through 0 there. The interval holds the
    distances at which it may be 0, as unsure as it is at each: a small glow's share falls slowly, so its width is
    the less sure. Where the glow itself is sure, there are such limits.

    Parameters
    ----------
    excess : Excess
        The zone's edges without outliers.
    weight : ndarray, shape (n,)
        How much each edge counts; 1 in all.
    """
    left = weight @ _less_half(excess.farther)
    less, more = _unsure(excess, weight)
    value, low, high = (_falls_through_none(excess.distance_px, part) for part in (left, left - less, left + more))
    if value is None or low is None or high is None:
        return None
    return Figure(value, low, high, "px")


def _less_half(of_distances: NDArray) -> NDArray[np.float64]:
    """What there is from each distance on, shape (n, m, ...), less half of all."""
    return of_distances - of_distances[:, :1] / 2


def _unsure(excess: Excess, weight: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """By how much less and more light than half of all glow may lie beyond each distance (95 %)."""
    gradient = _less_half(excess.gradient)
    by_noise = sigma_along(gradient, excess.tail_covariance)
    sigma = sigma_of_mean(_less_half(excess.farther), by_noise, weight)
    by_model = weight @ sigma_along(gradient, excess.tail_model_covariance)
    by_scale, less, more = (
        weight @ _less_half(part)
        for part in (excess.diffraction_off, excess.diffraction_less, excess.diffraction_more)
    )
    own = np.hypot(NORMAL_95 * np.hypot(sigma, by_model), by_scale)
    return own + np.maximum(np.maximum(more, -less), 0), own + np.maximum(np.maximum(-more, less), 0)


def _falls_through_none(distance: NDArray, left: NDArray) -> float | None:
    """Where what is left falls to 0 for the first time; None where it doesn't."""
    below = left <= 0
    if not below.any() or below[0]:
        return None
    k = int(np.argmax(below))
    step = left[k - 1] / max(left[k - 1] - left[k], 1e-12)
    return float(distance[k - 1] * (distance[k] / distance[k - 1]) ** step)
