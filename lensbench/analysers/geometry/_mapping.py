"""The mapping of the frame to the sheet: scale, turn, tilt and distortion as one model.

The model runs from the picture to the sheet, so that every measured edge can be compared with the straight line it
was printed as: a point on a curved edge, undistorted and projected onto the sheet, must lie on the printed line.
Edges then need no matching of points along them, and edges clipped by the frame's border count as much as others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import NDArray

from lensbench.frame import centre_of, half_diagonal

# Where each parameter stands in `Mapping.theta`. Lengths in the picture are in half-diagonals, on the sheet in mm.
CENTRE, SCALE, TURN, SHIFT = slice(0, 2), 2, 3, slice(4, 6)
LEAN, DISTANCE, RULERS, INK = slice(6, 8), 8, slice(9, 11), slice(11, 13)
DECENTRING = slice(13, 15)
WITHOUT_TERMS = 15
"""Number of parameters besides the terms of distortion."""
TERMS = slice(WITHOUT_TERMS, None)


@dataclass(frozen=True, eq=False)
class Mapping:
    """The mapping of one frame to the sheet, as a vector of parameters.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    theta : ndarray
        The parameters: centre of distortion, scale (logarithm), turn, shift, lean (the tilt's tangent over the
        image distance), image distance (logarithm), errors of the ruler bars, ink spread and its change with the
        square of the radius, decentring, and the terms of distortion.
    print_scale : ndarray, shape (2,)
        Printed over designed size across and up.
    """

    size: tuple[int, int]
    theta: NDArray[np.float64]
    print_scale: NDArray[np.float64]

    @cached_property
    def unit(self) -> float:
        """The half-diagonal in pixels."""
        return half_diagonal(self.size)

    @property
    def centre(self) -> NDArray[np.float64]:
        """The centre of distortion (x, y) in pixels."""
        return np.asarray(centre_of(self.size)) + self.unit * self.theta[CENTRE]

    @property
    def terms(self) -> NDArray[np.float64]:
        """Terms of distortion: t in q (1 + t₁ Q + t₂ Q² + …)."""
        return self.theta[TERMS]

    @property
    def decentring(self) -> NDArray[np.float64]:
        """D of Q d + 2 (q·d) q, what a decentred lens adds to the distortion (Brown)."""
        return self.theta[DECENTRING]

    @property
    def printed_size(self) -> NDArray[np.float64]:
        """Printed over designed size, across and up, corrected for the errors of the ruler bars."""
        return self.print_scale * (1 + self.theta[RULERS])

    @property
    def turn(self) -> float:
        """The target's turn in radians, anticlockwise as seen."""
        return float(self.theta[TURN])

    @property
    def lean(self) -> NDArray[np.float64]:
        """Relative change of the target's distance over one half-diagonal right and down."""
        return self.theta[LEAN]

    @property
    def distance(self) -> float:
        """The image distance over the pupil ratio, in half-diagonals (that of the prior unless it was given)."""
        # Where no edge constrains the distance a trial step may be very large: the exponential must not overflow.
        return float(np.exp(np.clip(self.theta[DISTANCE], -5, 8)))

    def undistorted_ratio(self, radius: NDArray) -> NDArray[np.float64]:
        """Undistorted radius over the radius in the picture (half-diagonals)."""
        square = np.square(radius)
        return 1 + square * polyval(square, self.terms)

    def undistorted_slope(self, radius: NDArray) -> NDArray[np.float64]:
        """Derivative of the undistorted radius by the radius in the picture (half-diagonals)."""
        square = np.square(radius)
        slopes = self.terms * (1 + 2 * np.arange(1, len(self.terms) + 1))
        return 1 + square * polyval(square, slopes)

    def undistorted(self, points: NDArray) -> NDArray[np.float64]:
        """Positions without distortion, from its centre in half-diagonals, of points in the picture, (..., 2)."""
        q = (np.asarray(points, float) - self.centre) / self.unit
        square = np.square(q).sum(axis=-1)[..., None]
        decentred = square * self.decentring + 2 * (q @ self.decentring)[..., None] * q
        return q * self.undistorted_ratio(np.sqrt(square)) + decentred

    def distorted_radius(self, undistorted: NDArray) -> NDArray[np.float64]:
        """The radius in the picture of an undistorted radius, both in half-diagonals."""
        grid = np.linspace(0, 1.2, 601)
        # Beyond the frame the polynomial may turn back; it can be inverted as far as it rises.
        rising = np.maximum.accumulate(grid * self.undistorted_ratio(grid))
        radius = np.interp(undistorted, rising, grid)
        for _ in range(3):
            error = radius * self.undistorted_ratio(radius) - undistorted
            step = error / np.maximum(self.undistorted_slope(radius), 0.05)
            radius = radius - np.clip(step, -0.002, 0.002)
        return radius

    def on_sheet(self, points: NDArray) -> NDArray[np.float64]:
        """Positions on the sheet, in designed mm from the target's centre, of points in the picture, (..., 2)."""
        ideal = self.undistorted(points)
        across = ideal / (1 - ideal @ self.lean)[..., None] * np.exp(self.theta[SCALE])
        printed = _along_tilt(across, self.lean * self.distance) @ turn_matrix(self.turn) + self.theta[SHIFT]
        return printed / self.printed_size

    def sheet_jacobian(self, points: NDArray, towards: NDArray) -> NDArray[np.float64]:
        """Derivative of `on_sheet` along directions of the sheet, by each parameter, shape (points, parameters).

        By the chain rule from the sheet back to the picture, one step of `on_sheet` after the other.
        """
        q = (points - self.centre) / self.unit
        square, skew = np.square(q).sum(axis=-1)[:, None], (q @ self.decentring)[:, None]
        ideal = q * self.undistorted_ratio(np.sqrt(square)) + square * self.decentring + 2 * skew * q
        nearer = 1 / (1 - ideal @ self.lean)[:, None]
        size = np.exp(self.theta[SCALE]) * nearer
        across, tilt = size * ideal, self.lean * self.distance
        secant = np.sqrt(1 + tilt @ tilt)
        turned = _along_tilt(across, tilt)
        jacobian = np.zeros((len(points), len(self.theta)))

        by = towards / self.printed_size
        printed = turned @ turn_matrix(self.turn) + self.theta[SHIFT]
        jacobian[:, RULERS] = -by * printed / (1 + self.theta[RULERS])
        jacobian[:, SHIFT] = by
        jacobian[:, TURN] = _dot(by, turned @ turn_matrix(self.turn + np.pi / 2))
        by = by @ turn_matrix(self.turn).T
        along, outward = (across @ tilt)[:, None], (by @ tilt)[:, None]
        by_tilt = (along * by + outward * across - along * outward * tilt / (secant * (1 + secant))) / (1 + secant)
        jacobian[:, DISTANCE] = by_tilt @ tilt
        by = _along_tilt(by, tilt)
        jacobian[:, SCALE] = _dot(by, across)
        closer = (_dot(by, across)[:, None]) * nearer
        jacobian[:, LEAN] = by_tilt * self.distance + closer * ideal
        by = size * by + closer * self.lean
        outward = _dot(by, q)[:, None]
        jacobian[:, DECENTRING] = square * by + 2 * outward * q
        jacobian[:, TERMS] = outward * square ** np.arange(1, len(self.terms) + 1)
        steeper = polyval(square, self.terms * np.arange(1, len(self.terms) + 1))
        by_q = by * self.undistorted_ratio(np.sqrt(square)) + 2 * outward * (steeper * q + self.decentring)
        jacobian[:, CENTRE] = -(by_q + 2 * (by @ self.decentring)[:, None] * q + 2 * skew * by)
        return jacobian

    def ink(self, points: NDArray) -> NDArray[np.float64]:
        """Ink spread: how far black edges reach beyond the design at points of the picture, in millimetres."""
        q = (points - self.centre) / self.unit
        return self.theta[INK][0] + self.theta[INK][1] * np.square(q).sum(axis=-1)

    def ink_jacobian(self, points: NDArray) -> NDArray[np.float64]:
        """Derivative of `ink` by each parameter, shape (points, parameters)."""
        q = (points - self.centre) / self.unit
        jacobian = np.zeros((len(points), len(self.theta)))
        jacobian[:, INK] = np.stack([np.ones(len(points)), np.square(q).sum(axis=-1)], axis=-1)
        jacobian[:, CENTRE] = -2 * self.theta[INK][1] * q
        return jacobian

    def scale(self, points: NDArray) -> NDArray[np.float64]:
        """Pixels a millimetre at points of the picture, for a target square to the axis, shape (...).

        The target's distance is that of the sheet on the axis through the frame's centre; the figure is the
        geometric mean of the radial and the tangential scale.
        """
        q = (np.asarray(points, float) - self.centre) / self.unit
        radius = np.hypot(q[..., 0], q[..., 1])
        middle = self.undistorted(np.asarray(centre_of(self.size)))
        paraxial = self.unit / np.exp(self.theta[SCALE]) * (1 - middle @ self.lean)
        growth = self.undistorted_ratio(radius) * self.undistorted_slope(radius) + 8 * q @ self.decentring
        return paraxial / np.sqrt(np.maximum(growth, 0.01))

    def sheet_at_centre(self) -> NDArray[np.float64]:
        """The position on the sheet, in printed millimetres, of the frame's centre."""
        return self.on_sheet(np.asarray(centre_of(self.size))) * self.printed_size


def _dot(a: NDArray, b: NDArray) -> NDArray:
    """Row by row."""
    return (a * b).sum(axis=-1)


def _along_tilt(across: NDArray, tilt: NDArray) -> NDArray:
    """Lengths on a tilted sheet from those across the axis: longer along the tilt by 1 / cos."""
    longer = 1 / (1 + np.sqrt(1 + tilt @ tilt))
    return across + longer * (across @ tilt)[..., None] * tilt


def turn_matrix(turn: float) -> NDArray[np.float64]:
    """The matrix that takes a row (x, y) of the picture back by a turn anticlockwise as seen, radians."""
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, s], [-s, c]])
