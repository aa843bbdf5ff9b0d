"""The smooth field of one colour's displacement against green over the frame, with its covariance.

An edge shows only the component of a displacement along its normal, and an offset of its own besides: where a
colour is blurred more or less than green, all edges of a black figure seem to move out or in alike. The three
edges of a tile separate them: three offsets, three unknowns (two of the displacement, one common offset).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import NDArray

from lensbench.frame import centre_of, half_diagonal

RADIAL_TERMS = 3
"""Terms of the radial polynomial at most."""

# Where each parameter stands in `ColourField.theta`; lengths are in pixels, the centre's in half-diagonals.
CENTRE, SHIFT, DECENTRING, RADIAL = slice(0, 2), slice(2, 4), slice(4, 6), slice(6, 6 + RADIAL_TERMS)
WITHOUT_COMMON = 6 + RADIAL_TERMS
"""Number of parameters besides the coefficients of the common offset."""
COMMON = slice(WITHOUT_COMMON, None)


@dataclass(frozen=True, eq=False)
class ColourField:
    """The smooth field: displacement and common offset as functions of the position.

    With q the position less the field's centre over the half-diagonal, and Q = |q|², the displacement in pixels is
    s + q (r₁ + r₂ Q + r₃ Q²) + Q d + 2 (q·d) q.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    theta : ndarray
        Centre (half-diagonals from the frame's), s, d, r (pixels), and the common offset's coefficients.
    covariance : ndarray, shape (parameters, parameters)
        Of `theta`; zero for parameters that were not fitted.
    residual_px : float
        Standard deviation of the edges' residuals, in pixels.
    common_sigma : float
        Standard deviation of the tiles' common offsets about their smooth field, in pixels.
    fitted : ndarray of bool, shape (tiles, 3)
        The edges that the field was fitted to.
    centre, centre_sigma : ndarray, shape (2,)
        Where the fringing is centred (x, y), in pixels, and the standard deviations of that (see `field_centres`).
    """

    size: tuple[int, int]
    theta: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residual_px: float
    common_sigma: float
    fitted: NDArray[np.bool_]
    centre: NDArray[np.float64]
    centre_sigma: NDArray[np.float64]

    @property
    def about(self) -> NDArray[np.float64]:
        """The position (x, y) in pixels that the terms of the field go with."""
        return np.asarray(centre_of(self.size)) + half_diagonal(self.size) * self.theta[CENTRE]

    def part(self, which: slice) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """One of `CENTRE`, `SHIFT`, `DECENTRING`, `RADIAL`: values and standard deviations."""
        return self.theta[which], np.sqrt(np.diagonal(self.covariance))[which]

    def at(self, points: NDArray) -> NDArray[np.float64]:
        """Displacement (dx, dy) in pixels at positions of shape (..., 2)."""
        return displacement(self.theta, points, self.size)

    def common(self, points: NDArray, half_turned: NDArray) -> NDArray[np.float64]:
        """The common offset of a tile's edges at positions of shape (..., 2)."""
        return common_terms(points, half_turned, self.size, len(self.theta[COMMON])) @ self.theta[COMMON]


def displacement(theta: NDArray, points: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """Displacement (dx, dy) in pixels at positions of shape (..., 2)."""
    q = (points - centre_of(size)) / half_diagonal(size) - theta[CENTRE]
    square = np.square(q).sum(axis=-1)[..., None]
    decentring = theta[DECENTRING]
    growth = polyval(square, theta[RADIAL])
    return theta[SHIFT] + q * growth + square * decentring + 2 * (q @ decentring)[..., None] * q


def displacement_jacobian(theta: NDArray, points: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """Derivative of the displacement by centre, shift, decentring and radial terms, shape (..., 2, parameters)."""
    q = (points - centre_of(size)) / half_diagonal(size) - theta[CENTRE]
    square = np.square(q).sum(axis=-1)[..., None, None]
    decentring, radial = theta[DECENTRING], theta[RADIAL]
    identity, q_column = np.broadcast_to(np.eye(2), (*q.shape, 2)), q[..., :, None]
    growth = polyval(square, radial)
    steeper = polyval(square, radial[1:] * np.arange(1, RADIAL_TERMS))
    outer = q_column * q[..., None, :]
    skew = q_column * decentring
    by_q = growth * identity + 2 * steeper * outer + 2 * (skew + np.swapaxes(skew, -1, -2))
    by_q = by_q + 2 * (q @ decentring)[..., None, None] * identity
    by_radial = q_column * np.concatenate([square**k for k in range(RADIAL_TERMS)], axis=-1)
    return np.concatenate([-by_q, identity, square * identity + 2 * outer, by_radial], axis=-1)


def common_terms(points: NDArray, half_turned: NDArray, size: tuple[int, int], terms: int) -> NDArray[np.float64]:
    """Basis of the common offset, shape (..., terms): constants (2 terms), or quadratics over the frame (12).

    Unequal blur moves the edges of all tiles alike; asymmetric blur moves those of half-turned tiles the other
    way.
    """
    x, y = np.moveaxis((points - centre_of(size)) / half_diagonal(size), -1, 0)
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)[..., : terms // 2]
    side = np.where(half_turned, -1.0, 1.0)[..., None]
    return np.concatenate([basis, side * basis], axis=-1)
