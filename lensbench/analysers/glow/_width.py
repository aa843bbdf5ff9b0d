"""How far from the edge half of a zone's glow lies, and how sure that is."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.glow._excess import Excess, sigma_along
from lensbench.analysers.glow._means import sigma_of_mean
from lensbench.findings import NORMAL_95, Figure


def glow_width(excess: Excess, weight: NDArray) -> Figure | None:
    """Distance from the edge within which half of the glow lies; None where the tails don't tell.

    The share of the light beyond a distance, less half of all glow, falls through 0 there. The interval reaches to
    where it has fallen by as much as it is unsure at the width: a small glow's share falls slowly, so its width is
    the less sure.

    Parameters
    ----------
    excess : Excess
        The zone's edges without outliers.
    weight : ndarray, shape (n,)
        How much each edge counts; 1 in all.
    """
    distance, farther = excess.distance_px, weight @ excess.farther
    half = farther[0] / 2
    value = _falls_to(distance, farther, half)
    if value is None:
        return None
    unsure = _unsure(excess, weight, value)
    low, high = (_falls_to(distance, farther, half + by) for by in (unsure, -unsure))
    if low is None or high is None:
        return None
    return Figure(value, low, high, "px")


def _unsure(excess: Excess, weight: NDArray, width: float) -> float:
    """Half of the 95 % interval of the share of the light beyond a width, less half of all glow."""

    def less_half(of_distances: NDArray) -> NDArray[np.float64]:
        """Of columns by distance: what they have at the width, less half of the first."""
        at = np.interp(width, excess.distance_px, np.arange(len(excess.distance_px)))
        k = min(int(at), len(excess.distance_px) - 2)
        return (k + 1 - at) * of_distances[:, k] + (at - k) * of_distances[:, k + 1] - of_distances[:, 0] / 2

    gradient = less_half(excess.gradient)
    by_noise = sigma_along(gradient, excess.tail_covariance)
    sigma = sigma_of_mean(less_half(excess.farther), by_noise, weight)
    by_model = float(weight @ sigma_along(gradient, excess.tail_model_covariance))
    off = np.maximum(excess.diffraction_less, excess.diffraction_more) / np.maximum(excess.diffraction, 1e-9)
    by_diffraction = float(weight @ (off * less_half(excess.diffraction_farther)))
    return math.hypot(NORMAL_95 * math.hypot(sigma, by_model), by_diffraction)


def _falls_to(distance: NDArray, farther: NDArray, share: float) -> float | None:
    """Where the light beyond falls to a share, as far out as it does for the first time; None where it doesn't."""
    below = farther <= share
    if not below.any() or below[0]:
        return None
    k = int(np.argmax(below))
    step = (farther[k - 1] - share) / max(farther[k - 1] - farther[k], 1e-12)
    return float(distance[k - 1] * (distance[k] / distance[k - 1]) ** step)
