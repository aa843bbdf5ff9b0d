"""How one target shot maps the frame to the sheet: scale, turn, tilt, bending, and how sure they are.

The model runs from the picture to the sheet, so that every measured edge can be held against the straight line
it was printed as: a place on a bent edge, bent back and laid on the sheet, must lie on the printed line. Edges
then need no matching of points along them, and edges cut by the frame's border count as much as others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from lensbench.analysers.edge import EdgeResponses
from lensbench.errors import BenchError
from lensbench.findings import Figure
from lensbench.frame import centre_of, half_diagonal
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS, Layout

NORMAL_95 = 1.96
"""Half-width of a 95 % interval in standard deviations."""

MOST_TERMS = 8
"""Terms of the bending polynomial at most; as many are kept as the edges call for.

Eight follow any bending that draws the corners at 0.5 to 1.3 of their size, to 0.003 % of the half-diagonal.
"""

SLIVER = 6.0
"""An edge this many times less sure than the median edge is a sliver at the frame's border."""

LEAST_EDGES = 30
"""Edges below which no mapping is fitted."""

CENTRE_PRIOR = 0.15
"""How far from the frame's centre the bending's centre may lie, as a standard deviation in half-diagonals."""

DECENTRING_PRIOR = 0.01
"""How large decentring may be, as a standard deviation, where the edges call for it at all."""

DECENTRING_GAIN = 10.0
"""By how much decentring must better Schwarz's criterion to be believed: it mimics a moved centre."""

DISTANCE_PRIOR = (2.5, 0.8)
"""Image distance in half-diagonals that is likely, and the spread of its logarithm, where none is known."""

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
_CENTRE, _SCALE, _TURN, _SHIFT = slice(0, 2), 2, 3, slice(4, 6)
_LEAN, _DISTANCE, _RULERS, _INK = slice(6, 8), 8, slice(9, 11), slice(11, 13)
_DECENTRING = slice(13, 15)
_TERMS = slice(15, None)
_FIXED = 15
_BELIEVED = np.r_[_CENTRE, _DECENTRING, _RULERS, _DISTANCE]


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
        return np.asarray(centre_of(self.size)) + self.unit * self.theta[_CENTRE]

    @property
    def terms(self) -> NDArray:
        """Terms of the bending: t in q (1 + t₁ Q + t₂ Q² + …)."""
        return self.theta[_TERMS]

    @property
    def decentring(self) -> NDArray:
        """d of Q d + 2 (q·d) q, what a decentred lens adds to the bending (Brown)."""
        return self.theta[_DECENTRING]

    @property
    def printed_size(self) -> NDArray:
        """Printed over designed size, across and up, with the rulers' errors taken off."""
        return self.print_scale * (1 + self.theta[_RULERS])

    @property
    def turn(self) -> float:
        """The target's turn in radians, anticlockwise as seen."""
        return float(self.theta[_TURN])

    @property
    def lean(self) -> NDArray:
        """Relative change of the target's distance over one half-diagonal right and down."""
        return self.theta[_LEAN]

    @property
    def distance(self) -> float:
        """The image distance over the pupil ratio, in half-diagonals (a guess unless it was given)."""
        # Where nothing speaks of the distance a trial step may go anywhere: keep it within what exponentials bear.
        return float(np.exp(np.clip(self.theta[_DISTANCE], -5, 8)))

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
        """The radius in the picture of what would lie at an ideal radius without bending (Newton's method)."""
        ideal = np.asarray(ideal, float)
        radius = ideal.copy()
        for _ in range(30):
            step = (radius * self.stretch(radius) - ideal) / np.maximum(self.radial_stretch(radius), 0.1)
            radius = radius - np.clip(step, -0.1, 0.1)
        return radius

    def on_sheet(self, points: NDArray) -> NDArray:
        """Where places of the picture lie on the sheet, in designed millimetres from the target's centre."""
        ideal = self.unbent(points)
        across = ideal / (1 - ideal @ self.lean)[..., None] * np.exp(self.theta[_SCALE])
        printed = _along_tilt(across, self.lean * self.distance) @ _turn_matrix(self.turn) + self.theta[_SHIFT]
        return printed / self.printed_size

    def sheet_slopes(self, points: NDArray, towards: NDArray) -> NDArray:
        """Derivative of `on_sheet` along directions of the sheet, by each parameter, shape (points, parameters).

        Worked backwards from the sheet to the picture, one step of `on_sheet` after the other.
        """
        u = (points - self.centre) / self.unit
        square, skew = np.square(u).sum(axis=-1)[:, None], (u @ self.decentring)[:, None]
        bent = u * self.stretch(np.sqrt(square)) + square * self.decentring + 2 * skew * u
        nearer = 1 / (1 - bent @ self.lean)[:, None]
        size = np.exp(self.theta[_SCALE]) * nearer
        across, tilt = size * bent, self.lean * self.distance
        secant = np.sqrt(1 + tilt @ tilt)
        turned = _along_tilt(across, tilt)
        slopes = np.zeros((len(points), len(self.theta)))

        by = towards / self.printed_size
        printed = turned @ _turn_matrix(self.turn) + self.theta[_SHIFT]
        slopes[:, _RULERS] = -by * printed / (1 + self.theta[_RULERS])
        slopes[:, _SHIFT] = by
        slopes[:, _TURN] = _dot(by, turned @ _turn_matrix(self.turn + np.pi / 2))
        by = by @ _turn_matrix(self.turn).T
        along, pull = (across @ tilt)[:, None], (by @ tilt)[:, None]
        by_tilt = (along * by + pull * across - along * pull * tilt / (secant * (1 + secant))) / (1 + secant)
        slopes[:, _DISTANCE] = by_tilt @ tilt
        by = _along_tilt(by, tilt)
        slopes[:, _SCALE] = _dot(by, across)
        closer = (_dot(by, across)[:, None]) * nearer
        slopes[:, _LEAN] = by_tilt * self.distance + closer * bent
        by = size * by + closer * self.lean
        outward = _dot(by, u)[:, None]
        slopes[:, _DECENTRING] = square * by + 2 * outward * u
        slopes[:, _TERMS] = outward * square ** np.arange(1, len(self.terms) + 1)
        steeper = np.polynomial.polynomial.polyval(square, self.terms * np.arange(1, len(self.terms) + 1))
        by_u = by * self.stretch(np.sqrt(square)) + 2 * outward * (steeper * u + self.decentring)
        slopes[:, _CENTRE] = -(by_u + 2 * (by @ self.decentring)[:, None] * u + 2 * skew * by)
        return slopes

    def ink_slopes(self, points: NDArray) -> NDArray:
        """Derivative of `ink` by each parameter, shape (points, parameters)."""
        away = (points - self.centre) / self.unit
        slopes = np.zeros((len(points), len(self.theta)))
        slopes[:, _INK] = np.stack([np.ones(len(points)), np.square(away).sum(axis=-1)], axis=-1)
        slopes[:, _CENTRE] = -2 * self.theta[_INK][1] * away
        return slopes

    def ink(self, points: NDArray) -> NDArray:
        """How far black edges reach beyond the design at places of the picture, in millimetres."""
        away = (points - self.centre) / self.unit
        return self.theta[_INK][0] + self.theta[_INK][1] * np.square(away).sum(axis=-1)

    def scale(self, points: NDArray) -> NDArray:
        """Pixels a millimetre that the lens draws at places of the picture, on a target square to the axis.

        The target stands where the axis of the frame meets the sheet; the figure is the mean of both
        directions.
        """
        away = (np.asarray(points, float) - self.centre) / self.unit
        radius = np.hypot(away[..., 0], away[..., 1])
        middle = self.unbent(np.asarray(centre_of(self.size)))
        paraxial = self.unit / np.exp(self.theta[_SCALE]) * (1 - middle @ self.lean)
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


def _turn_matrix(turn: float) -> NDArray:
    """The matrix that takes a row (x, y) of the picture back by a turn anticlockwise as seen."""
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, s], [-s, c]])


@dataclass(frozen=True, eq=False)
class MappingFit:
    """A mapping fitted to the edges of one shot.

    Attributes
    ----------
    mapping : Mapping
    own, shared : ndarray, shape (parameters, parameters)
        Covariance of the parameters: from this shot's edges, and from what all shots of the sheet share (the
        rulers, what is known of the image distance).
    used : ndarray of bool, shape (edges,)
        Edges that fit; the others are faults of the print or of the measurement.
    residual : ndarray, shape (edges,)
        How far each edge lies from where the mapping puts it, along its normal, in pixels.
    strain : float
        How many standard deviations the edges pull the rulers from their lengths, or the image distance from a
        likely one; much means that the sheet isn't as long, one way to the other, as was said.
    """

    mapping: Mapping
    own: NDArray[np.float64]
    shared: NDArray[np.float64]
    used: NDArray[np.bool_]
    residual: NDArray[np.float64]
    strain: float

    def value_and_spreads(self, function: Callable[[Mapping], NDArray]) -> tuple[NDArray, NDArray, NDArray]:
        """Values read off the mapping, with their standard deviations from `own` and `shared` errors."""
        mapping = self.mapping
        slopes = _jacobian(lambda theta: np.atleast_1d(function(replace(mapping, theta=theta))), mapping.theta)
        variances = (np.einsum("vi,ij,vj->v", slopes, part, slopes) for part in (self.own, self.shared))
        own, shared = (np.sqrt(np.maximum(variance, 0.0)) for variance in variances)
        return np.atleast_1d(function(mapping)), own, shared

    def figures(self, function: Callable[[Mapping], NDArray], unit: str) -> list[Figure]:
        """Figures read off the mapping, with the intervals that the parameters' errors give them."""
        values, own, shared = self.value_and_spreads(function)
        return [Figure.of(v, NORMAL_95 * s, unit) for v, s in zip(values, np.hypot(own, shared), strict=True)]

    def figure(self, function: Callable[[Mapping], float], unit: str) -> Figure:
        """One figure read off the mapping."""
        return self.figures(function, unit)[0]

    def lean_spread_by_centre(self) -> float:
        """How many times less sure the lean is for not knowing where the bending is centred."""
        covariance = self.own + self.shared
        lean, centre = np.r_[_LEAN], np.r_[_CENTRE, _DECENTRING]
        across = covariance[np.ix_(lean, centre)]
        explained = across @ np.linalg.pinv(covariance[np.ix_(centre, centre)], hermitian=True) @ across.T
        alone = np.diagonal(covariance)[lean]
        return float(np.sqrt(np.max(alone / np.maximum(alone - np.diagonal(explained), 1e-12 * alone))))


def fit_mapping(
    lines: Lines,
    layout: Layout,
    size: tuple[int, int],
    rulers: Rulers,
    mirrored: bool = False,
    distance: tuple[float, float] | None = None,
) -> MappingFit:
    """Fit the mapping of a frame to the sheet.

    Parameters
    ----------
    lines : Lines
        The edges measured, in the channel that counts.
    layout : Layout
        The target as designed.
    size : (int, int)
        Width and height of the frame in pixels.
    rulers : Rulers
        The print's scale.
    mirrored : bool
        Whether the sheet was seen from its back.
    distance : (float, float), optional
        The image distance over the pupil ratio, in half-diagonals, and its relative spread, where known.

    Raises
    ------
    BenchError
        Where there are too few edges.
    """
    if len(lines.leg) < LEAST_EDGES:
        raise BenchError(
            f"only {len(lines.leg)} edges of the target could be measured, and {LEAST_EDGES} are needed to tell "
            "its size and shape. Fill the frame with the target and focus on it."
        )
    fitting = _Fitting(lines, *_printed_lines(layout, lines, mirrored), size, rulers, distance)
    theta = fitting.rough_start()
    everything = np.ones(len(lines.leg), bool)
    sigma = np.ones(len(lines.leg))
    for terms, loss in ((1, "linear"), (3, "linear"), (MOST_TERMS, "cauchy")):
        theta = fitting.solve(fitting.with_terms(theta, terms), sigma, everything, loss=loss)
    for _ in range(2):
        sigma, used = fitting.judged(theta)
        theta = fitting.solve(theta, sigma, used, decentred=True)
    sigma, used = fitting.judged(theta)
    theta, decentred = fitting.simplest(theta, sigma, used)
    return fitting.finished(theta, sigma, used, decentred)


def _printed_lines(layout: Layout, lines: Lines, mirrored: bool) -> tuple[NDArray, NDArray]:
    """A point on each edge as designed, and its unit normal towards the white, in millimetres."""
    order = {place: i for i, place in enumerate(zip(layout.column.tolist(), layout.row.tolist(), strict=True))}
    places = zip(lines.column.tolist(), lines.row.tolist(), strict=True)
    corners = layout.corners_mm[[order[place] for place in places]]
    if mirrored:
        corners = corners * np.array([-1.0, 1.0])
    ends = np.asarray(LEG_CORNERS)[lines.leg]
    edge = np.arange(len(ends))
    start, end = corners[edge, ends[:, 0]], corners[edge, ends[:, 1]]
    along = end - start
    normal = np.stack([along[:, 1], -along[:, 0]], axis=-1) / np.hypot(along[:, 0], along[:, 1])[:, None]
    inward = corners.mean(axis=1) - start
    normal[(normal * inward).sum(axis=-1) > 0] *= -1
    return (start + end) / 2, normal


@dataclass(frozen=True, eq=False)
class _Fitting:
    """The steps of one fit, on the edges of one shot."""

    lines: Lines
    printed: NDArray[np.float64]
    outward: NDArray[np.float64]
    size: tuple[int, int]
    rulers: Rulers
    distance: tuple[float, float] | None

    def mapping(self, theta: NDArray) -> Mapping:
        return Mapping(self.size, theta, self.rulers.factor)

    def rough_start(self) -> NDArray:
        """Scale, turn and shift from the edges' middles, no tilt, no bending."""
        unit = half_diagonal(self.size)
        away = (self.lines.point - centre_of(self.size)) / unit
        x, y = (away - away.mean(axis=0)).T
        sheet = self.printed * self.rulers.factor
        u, v = (sheet - sheet.mean(axis=0)).T
        square = (x * x + y * y).sum()
        real, imaginary = (x * u + y * v).sum() / square, (x * v - y * u).sum() / square
        theta = np.zeros(_FIXED)
        theta[_SCALE] = np.log(np.hypot(real, imaginary))
        theta[_TURN] = np.arctan2(imaginary, real)
        turned = away @ _turn_matrix(theta[_TURN]) * np.exp(theta[_SCALE])
        theta[_SHIFT] = np.median(sheet - turned, axis=0)
        theta[_DISTANCE] = np.log(self.likely_distance[0])
        return theta

    @property
    def likely_distance(self) -> tuple[float, float]:
        return self.distance or DISTANCE_PRIOR

    @staticmethod
    def with_terms(theta: NDArray, terms: int) -> NDArray:
        """The same parameters with more or fewer terms of bending."""
        kept = np.zeros(_FIXED + terms)
        kept[: min(len(theta), len(kept))] = theta[: len(kept)]
        return kept

    def off_line(self, theta: NDArray) -> NDArray:
        """How far each edge lies outside its printed line, in millimetres on the sheet."""
        mapping = self.mapping(theta)
        away = ((mapping.on_sheet(self.lines.point) - self.printed) * self.outward).sum(axis=-1)
        return away - mapping.ink(self.lines.point)

    def pixels_a_mm(self, theta: NDArray) -> NDArray:
        """Pixels in the picture, along each edge's normal, of one millimetre off its printed line."""
        mapping = self.mapping(theta)
        ahead, behind = (
            (mapping.on_sheet(self.lines.point + step * self.lines.normal) * self.outward).sum(axis=-1)
            for step in (0.5, -0.5)
        )
        return 1 / np.maximum(np.abs(ahead - behind), 1e-9)

    def off_line_slopes(self, theta: NDArray) -> NDArray:
        """Derivative of `off_line` by each parameter, shape (edges, parameters)."""
        mapping = self.mapping(theta)
        return mapping.sheet_slopes(self.lines.point, self.outward) - mapping.ink_slopes(self.lines.point)

    def beliefs(self, theta: NDArray) -> NDArray:
        """What is known beforehand, as residuals of unit spread: centre, decentring, rulers, image distance."""
        expected, spread = self.believed
        return (theta[_BELIEVED] - expected) / spread

    def belief_slopes(self, theta: NDArray) -> NDArray:
        """Derivative of `beliefs` by each parameter."""
        _, spread = self.believed
        return np.eye(len(theta))[_BELIEVED] / spread[:, None]

    @property
    def believed(self) -> tuple[NDArray, NDArray]:
        """What is expected of the parameters `_BELIEVED`, and the spread of that."""
        likely, spread = self.likely_distance
        expected = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, np.log(likely)])
        centre, decentring = [CENTRE_PRIOR] * 2, [DECENTRING_PRIOR] * 2
        return expected, np.array([*centre, *decentring, *self.rulers.spread, spread])

    @staticmethod
    def free(theta: NDArray, decentred: bool) -> NDArray:
        """Which parameters are fitted: decentring only where it is called for."""
        free = np.ones(len(theta), bool)
        free[_DECENTRING] = decentred
        return free

    def solve(
        self, theta: NDArray, sigma: NDArray, used: NDArray, decentred: bool = False, loss: str = "linear"
    ) -> NDArray:
        """Least squares from a start; a robust loss bears with edges that don't fit."""
        weight = (self.pixels_a_mm(theta) / sigma)[used]
        free = self.free(theta, decentred)
        solved = np.where(free, theta, 0.0)
        by_belief = self.belief_slopes(theta)[:, free]

        def filled(trial: NDArray) -> NDArray:
            solved[free] = trial
            return solved

        def residuals(trial: NDArray) -> NDArray:
            return np.concatenate([self.off_line(filled(trial))[used] * weight, self.beliefs(solved)])

        def slopes(trial: NDArray) -> NDArray:
            by_edge = self.off_line_slopes(filled(trial))[np.ix_(used, free)]
            return np.concatenate([by_edge * weight[:, None], by_belief])

        start = theta[free]
        solved[free] = least_squares(
            residuals, start, slopes, loss=loss, x_scale="jac", f_scale=2.0, max_nfev=50
        ).x
        return solved

    def judged(self, theta: NDArray) -> tuple[NDArray, NDArray]:
        """Each edge's standard deviation in pixels, print and paper included, and whether it fits."""
        off = self.off_line(theta) * self.pixels_a_mm(theta)
        seen = 1.4826 * np.median(np.abs(off))
        unexplained = max(seen**2 - np.median(self.lines.sigma) ** 2, 0.0)
        sigma = np.sqrt(np.square(self.lines.sigma) + unexplained)
        return sigma, np.abs(off) <= 5 * np.maximum(sigma, seen)

    def simplest(self, theta: NDArray, sigma: NDArray, used: NDArray) -> tuple[NDArray, bool]:
        """As many terms of bending as the edges call for, by Schwarz's criterion, and whether decentring."""
        trial, trials = theta[:_FIXED], []
        for terms in range(1, MOST_TERMS + 1):
            trial = self.solve(self.with_terms(trial, terms), sigma, used)
            trials.append((self.cost(trial, sigma, used), terms, trial))
            if terms > min(trials)[1] + 2:
                break
        cost, _, best = min(trials)
        skewed = self.solve(best, sigma, used, decentred=True)
        if self.cost(skewed, sigma, used) + 2 * np.log(used.sum()) + DECENTRING_GAIN < cost:
            return skewed, True
        return best, False

    def cost(self, theta: NDArray, sigma: NDArray, used: NDArray) -> float:
        """Schwarz's criterion but for what all mappings share."""
        misfit = np.square((self.off_line(theta) * self.pixels_a_mm(theta) / sigma)[used]).sum()
        return float(misfit + np.square(self.beliefs(theta)).sum() + (len(theta) - _FIXED) * np.log(used.sum()))

    def finished(self, theta: NDArray, sigma: NDArray, used: NDArray, decentred: bool) -> MappingFit:
        """The fit with its covariance: edges of one tile may err together (a sandwich over tiles)."""
        scale = self.pixels_a_mm(theta)
        residual = self.off_line(theta) * scale
        free = self.free(theta, decentred)
        by_edge = (self.off_line_slopes(theta) * (scale / sigma)[:, None])[np.ix_(used, free)]
        by_belief = self.belief_slopes(theta)[:, free]
        inverse = _inverse_square(np.concatenate([by_edge, by_belief]))
        _, tile = np.unique(np.stack([self.lines.column, self.lines.row])[:, used], axis=1, return_inverse=True)
        pull = np.zeros((tile.max() + 1, int(free.sum())))
        np.add.at(pull, tile.ravel(), by_edge * (residual / sigma)[used, None])
        tiles, edges = len(pull), int(used.sum())
        few = tiles / max(tiles - 1, 1) * (edges - 1) / max(edges - len(theta), 1)
        own, shared = np.zeros((2, len(theta), len(theta)))
        own[np.ix_(free, free)] = few * inverse @ (pull.T @ pull) @ inverse
        shared[np.ix_(free, free)] = inverse @ (by_belief.T @ by_belief) @ inverse
        # Of the beliefs, the first four are centre and decentring.
        strain = float(np.abs(self.beliefs(theta)[4:]).max())
        return MappingFit(self.mapping(theta), own, shared, used, residual, strain)


def _inverse_square(slopes: NDArray) -> NDArray:
    """The inverse of slopesᵀ slopes, without forming that product."""
    size = np.linalg.norm(slopes, axis=0)
    _, upper = np.linalg.qr(slopes / size)
    back = np.linalg.inv(upper) / size[:, None]
    return back @ back.T


def _jacobian(function: Callable[[NDArray], NDArray], theta: NDArray) -> NDArray:
    """Derivative of a vector by each parameter, by central differences, shape (values, parameters)."""
    columns = []
    for i, value in enumerate(theta):
        step = np.zeros_like(theta)
        step[i] = 1e-5 * max(1.0, abs(value))
        columns.append((function(theta + step) - function(theta - step)) / (2 * step[i]))
    return np.stack(columns, axis=-1)
