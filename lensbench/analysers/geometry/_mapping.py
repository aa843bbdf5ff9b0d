"""How one target shot maps the frame to the sheet: scale, turn, tilt and bending as one model.

The model runs from the picture to the sheet, so that every measured edge can be held against the straight line
it was printed as: a place on a bent edge, bent back and laid on the sheet, must lie on the printed line. Edges
then need no matching of points along them, and edges cut by the frame's border count as much as others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.frame import centre_of, half_diagonal
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import Layout

SLIVER = 6.0
"""An edge this many times less sure than the median edge is a sliver at the frame's border."""

UNMEASURED_RULER = 0.005
"""Spread of a printer's scale (common practice: within 1 %), for rulers that nobody measured."""

RULER_READING_MM = 0.1
"""Standard deviation of a ruler bar's length as read by hand with a good steel rule (95 %: ± 0.2 mm)."""


@dataclass(frozen=True, eq=False)
class Lines:
    """Edges of tiles as measured in one shot and one channel.

    Attributes
    ----------
    column, row : ndarray of int, shape (edges,)
        The tile's lattice place.
    leg : ndarray of int, shape (edges,)
        Which of `LEGS`.
    point : ndarray, shape (edges, 2)
        A place (x, y) on the edge, in pixels, near its middle.
    normal : ndarray, shape (edges, 2)
        The edge's unit normal there, towards the bright side.
    sigma : ndarray, shape (edges,)
        Standard deviation of the place along the normal, in pixels.
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    leg: NDArray[np.int64]
    point: NDArray[np.float64]
    normal: NDArray[np.float64]
    sigma: NDArray[np.float64]

    @classmethod
    def measured(cls, found: FoundTiles, responses: EdgeResponses, size: tuple[int, int]) -> Lines:
        """The edges of found tiles (edge 3 i + k is leg k of tile i) that were measured, but for slivers.

        A line's middle is half as unsure again as its mean, since how much it bends is measured too.
        """
        point = np.stack([responses.x, responses.y], axis=-1)
        good = responses.measured & np.all((point >= 0) & (point <= np.asarray(size) - 1), axis=1)
        sigma = 1.5 * np.where(good, responses.offset_sigma_px, 0.0)
        if good.any():
            good &= sigma <= SLIVER * np.median(sigma[good])
        column, row = np.repeat(found.column, 3), np.repeat(found.row, 3)
        leg = np.tile(np.arange(3), len(found.column))
        return cls(column[good], row[good], leg[good], point[good], responses.normal[good], sigma[good])


@dataclass(frozen=True, eq=False)
class Rulers:
    """What the print's scale is, across and up: the factor on the designed sizes, and its relative spread."""

    factor: NDArray[np.float64]
    spread: NDArray[np.float64]

    @classmethod
    def measured(cls, layout: Layout, measured_mm: tuple[float, float] | None) -> Rulers:
        """From the two ruler bars as measured by hand; without them the print counts as roughly true."""
        designed = np.asarray(layout.rulers_mm, float)
        if measured_mm is None:
            return cls(np.ones(2), np.full(2, UNMEASURED_RULER))
        return cls(np.asarray(measured_mm, float) / designed, RULER_READING_MM / designed)


# The parameters' places. Lengths in the picture are in half-diagonals, on the sheet in millimetres.
CENTRE, SCALE, TURN, SHIFT = slice(0, 2), 2, 3, slice(4, 6)
LEAN, DISTANCE, RULERS, INK = slice(6, 8), 8, slice(9, 11), slice(11, 13)
DECENTRING = slice(13, 15)
TERMS = slice(15, None)
FIXED = 15


@dataclass(frozen=True, eq=False)
class Mapping:
    """The mapping of one frame to the sheet, as a vector of parameters and what they do.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    theta : ndarray
        The parameters: the bending's centre, scale, turn, shift, lean (the tilt's tangent over the image
        distance), image distance, the rulers' errors, the ink's spread and how it changes outwards, decentring,
        and the terms of the bending.
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
    def centre(self) -> NDArray:
        """The bending's centre (x, y) in pixels."""
        return np.asarray(centre_of(self.size)) + self.unit * self.theta[CENTRE]

    @property
    def terms(self) -> NDArray:
        """Terms of the bending: t in q (1 + t₁ Q + t₂ Q² + …)."""
        return self.theta[TERMS]

    @property
    def decentring(self) -> NDArray:
        """D of Q d + 2 (q·d) q, what a decentred lens adds to the bending (Brown)."""
        return self.theta[DECENTRING]

    @property
    def printed_size(self) -> NDArray:
        """Printed over designed size, across and up, with the rulers' errors taken off."""
        return self.print_scale * (1 + self.theta[RULERS])

    @property
    def turn(self) -> float:
        """The target's turn in radians, anticlockwise as seen."""
        return float(self.theta[TURN])

    @property
    def lean(self) -> NDArray:
        """Relative change of the target's distance over one half-diagonal right and down."""
        return self.theta[LEAN]

    @property
    def distance(self) -> float:
        """The image distance over the pupil ratio, in half-diagonals (a guess unless it was given)."""
        # Where nothing speaks of the distance a trial step may go anywhere: keep it within what exponentials bear.
        return float(np.exp(np.clip(self.theta[DISTANCE], -5, 8)))

    def stretch(self, radius: NDArray) -> NDArray:
        """How much farther out a place at a radius (half-diagonals) would lie without bending."""
        square = np.square(radius)
        return 1 + square * np.polynomial.polynomial.polyval(square, self.terms)

    def radial_stretch(self, radius: NDArray) -> NDArray:
        """The same for a small step along the radius."""
        square = np.square(radius)
        slopes = self.terms * (1 + 2 * np.arange(1, len(self.terms) + 1))
        return 1 + square * np.polynomial.polynomial.polyval(square, slopes)

    def unbent(self, points: NDArray) -> NDArray:
        """Where places of the picture would lie without bending, from its centre, in half-diagonals."""
        away = (np.asarray(points, float) - self.centre) / self.unit
        square = np.square(away).sum(axis=-1)[..., None]
        skewed = square * self.decentring + 2 * (away @ self.decentring)[..., None] * away
        return away * self.stretch(np.sqrt(square)) + skewed

    def bent_radius(self, ideal: NDArray) -> NDArray:
        """The radius in the picture of what would lie at an ideal radius without bending."""
        grid = np.linspace(0, 1.2, 601)
        # Beyond the frame the polynomial may turn back; as far as it rises it can be undone.
        reached = np.maximum.accumulate(grid * self.stretch(grid))
        radius = np.interp(ideal, reached, grid)
        for _ in range(3):
            step = (radius * self.stretch(radius) - ideal) / np.maximum(self.radial_stretch(radius), 0.05)
            radius = radius - np.clip(step, -0.002, 0.002)
        return radius

    def on_sheet(self, points: NDArray) -> NDArray:
        """Where places of the picture lie on the sheet, in designed millimetres from the target's centre."""
        ideal = self.unbent(points)
        across = ideal / (1 - ideal @ self.lean)[..., None] * np.exp(self.theta[SCALE])
        printed = _along_tilt(across, self.lean * self.distance) @ turn_matrix(self.turn) + self.theta[SHIFT]
        return printed / self.printed_size

    def sheet_slopes(self, points: NDArray, towards: NDArray) -> NDArray:
        """Derivative of `on_sheet` along directions of the sheet, by each parameter, shape (points, parameters).

        Worked backwards from the sheet to the picture, one step of `on_sheet` after the other.
        """
        u = (points - self.centre) / self.unit
        square, skew = np.square(u).sum(axis=-1)[:, None], (u @ self.decentring)[:, None]
        bent = u * self.stretch(np.sqrt(square)) + square * self.decentring + 2 * skew * u
        nearer = 1 / (1 - bent @ self.lean)[:, None]
        size = np.exp(self.theta[SCALE]) * nearer
        across, tilt = size * bent, self.lean * self.distance
        secant = np.sqrt(1 + tilt @ tilt)
        turned = _along_tilt(across, tilt)
        slopes = np.zeros((len(points), len(self.theta)))

        by = towards / self.printed_size
        printed = turned @ turn_matrix(self.turn) + self.theta[SHIFT]
        slopes[:, RULERS] = -by * printed / (1 + self.theta[RULERS])
        slopes[:, SHIFT] = by
        slopes[:, TURN] = _dot(by, turned @ turn_matrix(self.turn + np.pi / 2))
        by = by @ turn_matrix(self.turn).T
        along, pull = (across @ tilt)[:, None], (by @ tilt)[:, None]
        by_tilt = (along * by + pull * across - along * pull * tilt / (secant * (1 + secant))) / (1 + secant)
        slopes[:, DISTANCE] = by_tilt @ tilt
        by = _along_tilt(by, tilt)
        slopes[:, SCALE] = _dot(by, across)
        closer = (_dot(by, across)[:, None]) * nearer
        slopes[:, LEAN] = by_tilt * self.distance + closer * bent
        by = size * by + closer * self.lean
        outward = _dot(by, u)[:, None]
        slopes[:, DECENTRING] = square * by + 2 * outward * u
        slopes[:, TERMS] = outward * square ** np.arange(1, len(self.terms) + 1)
        steeper = np.polynomial.polynomial.polyval(square, self.terms * np.arange(1, len(self.terms) + 1))
        by_u = by * self.stretch(np.sqrt(square)) + 2 * outward * (steeper * u + self.decentring)
        slopes[:, CENTRE] = -(by_u + 2 * (by @ self.decentring)[:, None] * u + 2 * skew * by)
        return slopes

    def ink_slopes(self, points: NDArray) -> NDArray:
        """Derivative of `ink` by each parameter, shape (points, parameters)."""
        away = (points - self.centre) / self.unit
        slopes = np.zeros((len(points), len(self.theta)))
        slopes[:, INK] = np.stack([np.ones(len(points)), np.square(away).sum(axis=-1)], axis=-1)
        slopes[:, CENTRE] = -2 * self.theta[INK][1] * away
        return slopes

    def ink(self, points: NDArray) -> NDArray:
        """How far black edges reach beyond the design at places of the picture, in millimetres."""
        away = (points - self.centre) / self.unit
        return self.theta[INK][0] + self.theta[INK][1] * np.square(away).sum(axis=-1)

    def scale(self, points: NDArray) -> NDArray:
        """Pixels a millimetre that the lens draws at places of the picture, on a target square to the axis.

        The target stands where the axis of the frame meets the sheet; the figure is the mean of both
        directions.
        """
        away = (np.asarray(points, float) - self.centre) / self.unit
        radius = np.hypot(away[..., 0], away[..., 1])
        middle = self.unbent(np.asarray(centre_of(self.size)))
        paraxial = self.unit / np.exp(self.theta[SCALE]) * (1 - middle @ self.lean)
        growth = self.stretch(radius) * self.radial_stretch(radius) + 8 * away @ self.decentring
        return paraxial / np.sqrt(np.maximum(growth, 0.01))

    def sheet_at_centre(self) -> NDArray:
        """The place on the sheet, in printed millimetres, that the frame's centre shows."""
        return self.on_sheet(np.asarray(centre_of(self.size))) * self.printed_size


def _dot(a: NDArray, b: NDArray) -> NDArray:
    """Row by row."""
    return (a * b).sum(axis=-1)


def _along_tilt(across: NDArray, tilt: NDArray) -> NDArray:
    """Lengths on a tilted sheet from those across the axis: longer along the tilt by 1 / cos."""
    longer = 1 / (1 + np.sqrt(1 + tilt @ tilt))
    return across + longer * (across @ tilt)[..., None] * tilt


def turn_matrix(turn: float) -> NDArray:
    """The matrix that takes a row (x, y) of the picture back by a turn anticlockwise as seen."""
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, s], [-s, c]])
