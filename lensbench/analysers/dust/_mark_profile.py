"""The profile of a mark's shadow, across a fibre too: a generalised Gaussian, and what a rim's own shape adds."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import erf

import numpy as np
from numpy.typing import ArrayLike, NDArray

WIDE_CENTRES, WIDE_WIDTH = np.arange(0.0, 2.2, 0.3), 0.35
"""Radii and width of the bumps that let a profile differ from the two formulas (1 is half depth)."""

RIM_CENTRES, RIM_WIDTH = np.arange(-2.0, 3.0), 0.8
"""The same around the rim, in units of `RIM` over the steepness: a sharp rim is narrow."""

RIM = 1.2

OVAL = slice(2, 6)
"""Wide bumps that may be of one sign along an oval mark and of the other across it: its rim is as soft in pixels
all around, so that it is softer for its size across."""

WEIGHTS = 1 + len(WIDE_CENTRES) + len(RIM_CENTRES)

MOST_POWER = 4.1
"""Logarithm of the radius, times the steepness, from which nothing is left of a shadow."""

_STEPS = np.linspace(-6, 6, 2401)
_NORMAL = np.array([0.5 + 0.5 * erf(float(x) / np.sqrt(2)) for x in _STEPS])


def _wide_bumps(radius: NDArray) -> NDArray[np.float64]:
    """The wide bumps, even in the radius, so that a profile is smooth at the centre."""
    beside = radius[:, None] - WIDE_CENTRES, radius[:, None] + WIDE_CENTRES
    bumps = np.sum([np.exp(-0.5 * (d / WIDE_WIDTH) ** 2) for d in beside], axis=0)
    bumps[:, 0] /= 2
    return bumps


_STEP = 0.01
_WIDE = _wide_bumps(np.arange(0, 4.0, _STEP))
"""The wide bumps at steps of the radius: they are looked up more often than anything else here."""


def relative_depth(radius: ArrayLike, steepness: ArrayLike) -> NDArray[np.float64]:
    """Depth over that at the centre, exp(−ln 2 · radius^steepness); the radius is 1 at half depth."""
    logarithm = np.log(np.maximum(np.asarray(radius, float), 1e-30))
    return np.exp(-np.log(2) * np.exp(np.minimum(steepness * logarithm, MOST_POWER)))


def blurred_rim(radius: NDArray, steepness: ArrayLike) -> NDArray[np.float64]:
    """Depth over that at the centre of a disc with a Gaussian rim, as steep at half depth as `relative_depth`."""
    sigma = 2 / (np.log(2) * np.sqrt(2 * np.pi)) / np.asarray(steepness)
    return np.interp((1 - radius) / sigma, _STEPS, _NORMAL) / np.interp(1 / sigma, _STEPS, _NORMAL)


def cutoff_radius(steepness: float) -> float:
    """The radius beyond which the relative depth is below 0.1 %."""
    return 10 ** (1 / steepness)


def additions(radius: NDArray, formula: NDArray, steepness: ArrayLike, rim: float) -> NDArray[np.float64]:
    """What a profile adds to a formula, shape (…, WEIGHTS): another formula less the one, then bumps.

    `formula` is `relative_depth` at the radii, `rim` the steepness that the bumps around the rim are spaced by.
    """
    out = np.empty((*radius.shape, WEIGHTS))
    out[..., 0] = blurred_rim(radius, steepness) - formula
    wide = 1 + len(WIDE_CENTRES)
    place = np.minimum(radius / _STEP, len(_WIDE) - 2.0)
    below = place.astype(int)
    share = (place - below)[..., None]
    out[..., 1:wide] = (1 - share) * _WIDE[below] + share * _WIDE[below + 1]
    spacing = RIM / rim
    out[..., wide:] = np.exp(-0.5 * (((radius[..., None] - 1) / spacing - RIM_CENTRES) / RIM_WIDTH) ** 2)
    return out


@dataclass(frozen=True, eq=False)
class Profile:
    """The profile of one mark.

    Attributes
    ----------
    steepness : float
        Of the rim: 2 is a Gaussian.
    change : float
        Of the steepness's logarithm with the cosine of twice the angle from the long axis.
    weights : ndarray, shape (WEIGHTS,)
        Of what is added to the generalised Gaussian; all 0 is that alone.
    oval : ndarray, shape (bumps of `OVAL`,)
        Of what is added along and subtracted across.
    """

    steepness: float
    change: float = 0.0
    weights: NDArray[np.float64] = field(default_factory=lambda: np.zeros(WEIGHTS))
    oval: NDArray[np.float64] = field(default_factory=lambda: np.zeros(OVAL.stop - OVAL.start))

    @property
    def refined(self) -> bool:
        """Whether it is more than a generalised Gaussian."""
        return bool(self.weights.any())

    @property
    def reach(self) -> float:
        """The radius at which the shadow ends."""
        own = cutoff_radius(self.steepness)
        return max(own, WIDE_CENTRES[-1] + WIDE_WIDTH) if self.refined else own

    def quickly_at(self, radius: NDArray, cosine: ArrayLike = 0.0) -> NDArray[np.float64]:
        """As `at`, to within a few thousandths: looked up in a table, between along and across in proportion."""
        if not self.refined:
            return relative_depth(radius, self.steepness)
        steps = np.linspace(0, self.reach + 0.1, 1500)
        along, across = (np.interp(radius, steps, self.at(steps, sign), right=0.0) for sign in (1.0, -1.0))
        return np.asarray((along + across) / 2 + np.asarray(cosine) * (along - across) / 2)

    def at(self, radius: NDArray, cosine: ArrayLike = 0.0) -> NDArray[np.float64]:
        """Depth at radii, over about that at the centre, and cosines of twice the angle from the long axis."""
        if not self.refined:
            return relative_depth(radius, self.steepness)
        steepness = self.steepness * np.exp(self.change * np.asarray(cosine))
        formula = relative_depth(radius, steepness)
        added = additions(radius, formula, steepness, self.steepness)
        uneven = (added[..., 1:][..., OVAL] @ self.oval) * np.asarray(cosine)
        return np.asarray(formula + added @ self.weights + uneven)
