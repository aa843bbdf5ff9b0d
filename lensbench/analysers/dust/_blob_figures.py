"""Depth, width and length of a fitted mark, with intervals from its parameters' covariance."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._mark_profile import Profile
from lensbench.findings import NORMAL_95, Figure

LONGEST_BY_NOISE, HIDDEN_BY_NOISE = 2.448, 2.6
"""In standard deviations of its components: length that a vector of noise alone exceeds once in twenty times
(√(-2 ln 0.05)), and length up to which a true one may hide, so that 93 to 97 % of intervals hold for any."""

RADII = np.linspace(0, 2.5, 251)
"""Radii at which a profile is looked up."""


def figures_of(
    theta: NDArray, covariance: NDArray, profile_of: Callable[[NDArray], Profile], scale: float
) -> tuple[Figure, Figure, Figure]:
    """Width and length at half depth in pixels, and depth in percent.

    Noise makes a round mark look oval: what it adds to the logarithm of length over width, on average, is taken
    off (the root of its square less its variance; J. F. C. Wardle and P. P. Kronberg, The linear polarization of
    quasi-stellar radio sources, 1974, from memory).

    Parameters
    ----------
    theta : ndarray
        Parameters of the fit; the first is the height as a share, the seventh to ninth the ellipse in units of
        `scale`.
    covariance : ndarray
        Theirs.
    profile_of : callable
        The profile that parameters stand for.
    scale : float
        In pixels.

    Returns
    -------
    width, length, depth : Figure
    """

    def of(theta: NDArray) -> NDArray[np.float64]:
        """Depth; mean of the logarithms of width and length; two components of the logarithm of their ratio."""
        profile = profile_of(theta)
        a, b, c = theta[6:9]
        _, stretch, axes = np.linalg.svd(np.array([[a, 0.0], [b, c]]))
        stretch = np.maximum(stretch, 1e-3)
        across, along = (
            np.log(2 * _half_radius(profile, sign) / s) for sign, s in zip((-1, 1), stretch, strict=True)
        )
        twice = 2 * np.arctan2(axes[1, 1], axes[1, 0])
        ratio = along - across
        return np.array(
            [
                theta[0] * float(profile.at(np.zeros(1))[0]),
                (along + across) / 2,
                ratio * np.cos(twice),
                ratio * np.sin(twice),
            ]
        )

    sigma = np.sqrt(np.maximum(np.diag(covariance), 0))
    steps = [e * 0.3 * s for e, s in zip(np.eye(len(theta)), sigma, strict=True)]
    slopes = np.array(
        [(of(theta + step) - of(theta - step)) / max(0.6 * s, 1e-30) for step, s in zip(steps, sigma, strict=True)]
    )
    own = of(theta)
    spread = slopes.T @ covariance @ slopes
    depth, mean = own[:2]
    ratio = float(np.hypot(*own[2:]))
    of_ratio = (spread[2, 2] + spread[3, 3]) / 2
    shown, less, more = _above_noise(ratio, float(np.sqrt(max(of_ratio, 0.0))))
    half = NORMAL_95 * float(np.sqrt(max(spread[1, 1], 0.0)))
    # Were the ratio larger, the mark would be longer and narrower.
    narrower, longer = mean - shown / 2, mean + shown / 2
    by_less, by_more = np.hypot(half, less / 2), np.hypot(half, more / 2)
    width = _size(scale, narrower, by_more, by_less)
    length = _size(scale, longer, by_less, by_more)
    return width, length, Figure.of(100 * depth, 100 * NORMAL_95 * np.sqrt(max(spread[0, 0], 0)), "%")


def _above_noise(ratio: float, sigma: float) -> tuple[float, float, float]:
    """Length of a vector without what noise of its two components adds, and by how much it may be less and more.

    Noise alone gives a vector some length: up to there it may be 0. And it may hide the length of a short one.
    """
    shown = float(np.sqrt(max(ratio**2 - sigma**2, 0.0)))
    least = 0.0 if ratio < LONGEST_BY_NOISE * sigma else shown - NORMAL_95 * sigma
    return shown, shown - least, max(NORMAL_95 * sigma, HIDDEN_BY_NOISE * sigma - shown)


def _size(scale: float, logarithm: float, less: float, more: float) -> Figure:
    size = float(scale * np.exp(logarithm))
    return Figure(size, size * (1 - min(float(less), 1.0)), size * (1 + float(more)), "px")


def _half_radius(profile: Profile, cosine: float) -> float:
    """The outermost radius at which a profile is half as deep as at the centre."""
    line = profile.at(RADII, cosine)
    beyond = np.flatnonzero(line[:-1] >= line[0] / 2)
    last = int(beyond[-1]) if len(beyond) else 0
    fall = line[last] - line[last + 1]
    return float(RADII[last] + (RADII[1] - RADII[0]) * np.clip((line[last] - line[0] / 2) / max(fall, 1e-9), 0, 1))
