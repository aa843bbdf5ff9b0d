"""Fitting a shot's mapping to its edges: robustly, with as many terms as they call for, and honest intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from lensbench.analysers.geometry._mapping import (
    CENTRE,
    DECENTRING,
    DISTANCE,
    FIXED,
    LEAN,
    RULERS,
    SCALE,
    SHIFT,
    TURN,
    Lines,
    Mapping,
    Rulers,
    turn_matrix,
)
from lensbench.errors import BenchError
from lensbench.findings import NORMAL_95, Figure
from lensbench.frame import centre_of, half_diagonal
from lensbench.target.layout import LEG_CORNERS, Layout

MOST_TERMS = 8
"""Terms of the bending polynomial at most; as many are kept as the edges call for.

Eight follow a smooth bending that draws the corners at 0.5 to 1.3 of their size to 0.003 % of the half-diagonal.
"""

TILES_A_TERM = 12
"""Tiles that each term of bending needs, lest the curve swings between them."""

LEAST_TILES = 10
"""Whole tiles from which the scatter of tiles is told from that of edges."""

LEAST_EDGES = 30
"""Edges below which no mapping is fitted."""

CENTRE_PRIOR = 0.15
"""How far from the frame's centre the bending's centre may lie, as a standard deviation in half-diagonals."""

DECENTRING_PRIOR = 0.01
"""How large decentring may be, as a standard deviation, where the edges call for it at all."""

TERM_GAIN = 3.0
"""By how much one more term of bending must lower the misfit (χ²) to be kept: too few terms make intervals lie."""

DECENTRING_GAIN = 20.0
"""By how much decentring must lower the misfit to be believed: it mimics a moved centre."""

DISTANCE_PRIOR = (2.5, 0.8)
"""Image distance in half-diagonals that is likely, and the spread of its logarithm, where none is known."""

LEAN_PRIOR = 0.3
"""Relative change of the target's distance over a half-diagonal, as a standard deviation: a strong tilt."""

BELIEVED = np.r_[CENTRE, DECENTRING, LEAN, RULERS, DISTANCE]
"""The parameters of which something is known beforehand."""


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
    reach : float
        How far from the bending's centre edges were measured, in half-diagonals.
    strain : float
        How many standard deviations the edges pull the rulers from their lengths, or the image distance from a
        likely one; much means that the sheet isn't as long, one way to the other, as was said.
    """

    mapping: Mapping
    own: NDArray[np.float64]
    shared: NDArray[np.float64]
    used: NDArray[np.bool_]
    residual: NDArray[np.float64]
    reach: float
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
        lean, centre = np.r_[LEAN], np.r_[CENTRE, DECENTRING]
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
    scatter = Scatter.even(lines)
    most = fitting.most_terms
    few = min(3, most)
    # A bending that the first terms follow badly would draw its centre far off: that stays, until they follow it.
    for terms, loss, centred in ((few, "linear", True), (few, "linear", False), (most, "cauchy", False)):
        theta = fitting.solve(fitting.with_terms(theta, terms), scatter, loss=loss, centred=centred)
    for _ in range(2):
        theta = fitting.solve(theta, fitting.judged(theta), decentred=True)
    scatter = fitting.judged(theta)
    theta, decentred = fitting.simplest(theta, scatter)
    return fitting.finished(theta, scatter, decentred, fitting.doubt(theta, scatter, decentred))


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
class Scatter:
    """By how much edges lie off a perfect mapping: each on its own, and the three of a misplaced tile together.

    Attributes
    ----------
    slot : ndarray of int, shape (edges,)
        Each edge's place among three for every tile.
    whitener : ndarray, shape (tiles, 3, 3)
        Turns a tile's residuals in pixels into independent ones of unit spread.
    used : ndarray of bool, shape (edges,)
        The edges that count.
    """

    slot: NDArray[np.int64]
    whitener: NDArray[np.float64]
    used: NDArray[np.bool_]

    @classmethod
    def even(cls, lines: Lines) -> Scatter:
        """One pixel for every edge: what to start from."""
        return cls.of(lines, np.ones(len(lines.leg)), 0.0, np.ones(len(lines.leg), bool))

    @classmethod
    def of(cls, lines: Lines, edge: NDArray, tile: float, used: NDArray) -> Scatter:
        """From each edge's own standard deviation and the spread of the tiles' places, in pixels."""
        _, number = np.unique(np.stack([lines.column, lines.row]), axis=1, return_inverse=True)
        slot = 3 * number.ravel() + lines.leg
        normal, variance = np.zeros((3 * (number.max() + 1), 2)), np.ones(3 * (number.max() + 1))
        normal[slot[used]], variance[slot[used]] = lines.normal[used], np.square(edge[used])
        normal = normal.reshape(-1, 3, 2)
        covariance = tile**2 * normal @ np.swapaxes(normal, 1, 2) + variance.reshape(-1, 3, 1) * np.eye(3)
        return cls(slot, np.linalg.inv(np.linalg.cholesky(covariance)), used)

    def whitened(self, values: NDArray) -> NDArray:
        """Values by edge, shape (edges, ...), as independent ones by tile, shape (tiles, 3, ...)."""
        by_tile = np.zeros((len(self.whitener) * 3, *values.shape[1:]))
        by_tile[self.slot[self.used]] = values[self.used]
        return np.einsum("tij,tj...->ti...", self.whitener, by_tile.reshape(-1, 3, *values.shape[1:]))


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
        theta = np.zeros(FIXED)
        theta[SCALE] = np.log(np.hypot(real, imaginary))
        theta[TURN] = np.arctan2(imaginary, real)
        turned = away @ turn_matrix(theta[TURN]) * np.exp(theta[SCALE])
        theta[SHIFT] = np.median(sheet - turned, axis=0)
        theta[DISTANCE] = np.log(self.likely_distance[0])
        return theta

    @property
    def most_terms(self) -> int:
        """As many terms of bending as the tiles can bear."""
        tiles = len(np.unique(np.stack([self.lines.column, self.lines.row]), axis=1).T)
        return int(np.clip(tiles // TILES_A_TERM, 1, MOST_TERMS))

    @property
    def likely_distance(self) -> tuple[float, float]:
        return self.distance or DISTANCE_PRIOR

    @staticmethod
    def with_terms(theta: NDArray, terms: int) -> NDArray:
        """The same parameters with more or fewer terms of bending."""
        kept = np.zeros(FIXED + terms)
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
        """What is known beforehand, as residuals of unit spread."""
        expected, spread = self.believed
        return (theta[BELIEVED] - expected) / spread

    def belief_slopes(self, theta: NDArray) -> NDArray:
        """Derivative of `beliefs` by each parameter."""
        _, spread = self.believed
        return np.eye(len(theta))[BELIEVED] / spread[:, None]

    @property
    def believed(self) -> tuple[NDArray, NDArray]:
        """What is expected of the parameters `BELIEVED`, and the spread of that."""
        likely, spread = self.likely_distance
        expected = np.zeros(len(BELIEVED))
        expected[-1] = np.log(likely)
        loose = np.repeat([CENTRE_PRIOR, DECENTRING_PRIOR, LEAN_PRIOR], 2)
        return expected, np.array([*loose, *self.rulers.spread, spread])

    @staticmethod
    def free(theta: NDArray, decentred: bool, centred: bool = False) -> NDArray:
        """Which parameters are fitted: decentring where it is called for, the centre unless it is to stay."""
        free = np.ones(len(theta), bool)
        free[DECENTRING] = decentred
        free[CENTRE] = not centred
        return free

    def solve(
        self,
        theta: NDArray,
        scatter: Scatter,
        decentred: bool = False,
        loss: str = "linear",
        centred: bool = False,
    ) -> NDArray:
        """Least squares from a start; a robust loss bears with edges that don't fit."""
        scale = self.pixels_a_mm(theta)
        free = self.free(theta, decentred, centred)
        solved = np.where(free, theta, 0.0)
        by_belief = self.belief_slopes(theta)[:, free]

        def filled(trial: NDArray) -> NDArray:
            solved[free] = trial
            return solved

        def residuals(trial: NDArray) -> NDArray:
            off = scatter.whitened(self.off_line(filled(trial)) * scale)
            return np.concatenate([off.ravel(), self.beliefs(solved)])

        def slopes(trial: NDArray) -> NDArray:
            by_edge = scatter.whitened(self.off_line_slopes(filled(trial))[:, free] * scale[:, None])
            return np.concatenate([by_edge.reshape(-1, by_edge.shape[-1]), by_belief])

        start = theta[free]
        found = least_squares(residuals, start, slopes, loss=loss, x_scale="jac", f_scale=2.0, max_nfev=50)
        return filled(found.x)

    def judged(self, theta: NDArray) -> Scatter:
        """How edges and tiles scatter, print and paper included, and which edges fit.

        Where a whole tile is out of place its legs' and its long side's residuals cancel in the sum along + across
        + √2 slant; what shows there is the edges' own.
        """
        off = self.off_line(theta) * self.pixels_a_mm(theta)
        seen = 1.4826 * float(np.median(np.abs(off)))
        noise = np.square(self.lines.sigma)
        weights = np.array([0.5, 0.5, np.sqrt(0.5)])[self.lines.leg]
        _, number, edges = np.unique(
            np.stack([self.lines.column, self.lines.row]), axis=1, return_inverse=True, return_counts=True
        )
        closed = np.bincount(number.ravel(), weights * off)[edges == 3]
        own = 1.4826 * float(np.median(np.abs(closed))) if len(closed) >= LEAST_TILES else seen
        edge = np.sqrt(noise + max(min(own, seen) ** 2 - float(np.median(noise)), 0.0))
        tile = np.sqrt(max(seen**2 - max(own**2, float(np.median(noise))), 0.0))
        used = np.abs(off) <= 5 * np.maximum(np.hypot(edge, tile), seen)
        return Scatter.of(self.lines, edge, float(tile), used)

    def simplest(self, theta: NDArray, scatter: Scatter) -> tuple[NDArray, bool]:
        """As many terms of bending as the edges call for, and whether decentring."""
        trial, trials = theta[:FIXED], []
        for terms in range(1, self.most_terms + 1):
            # All but the bending starts anew from the full fit: with too few terms the rest may run far astray.
            start = np.concatenate([theta[:FIXED], self.with_terms(trial, terms)[FIXED:]])
            trial = self.solve(start, scatter)
            trials.append((self.misfit(trial, scatter) + TERM_GAIN * terms, terms, trial))
            if terms > min(trials)[1] + 2:
                break
        cost, terms, best = min(trials)
        skewed = self.solve(best, scatter, decentred=True)
        if self.misfit(skewed, scatter) + TERM_GAIN * terms + DECENTRING_GAIN < cost:
            return skewed, True
        return best, False

    def doubt(self, theta: NDArray, scatter: Scatter, decentred: bool) -> NDArray:
        """How far one more term would move the parameters, where it is called for but the tiles bear no more."""
        terms = len(theta) - FIXED
        more = theta
        if terms == self.most_terms:
            more = self.solve(self.with_terms(theta, terms + 1), scatter, decentred)
            if self.misfit(theta, scatter) - self.misfit(more, scatter) < TERM_GAIN:
                more = theta
        return more[: len(theta)] - theta

    def misfit(self, theta: NDArray, scatter: Scatter) -> float:
        """χ² of edges and beliefs."""
        off = scatter.whitened(self.off_line(theta) * self.pixels_a_mm(theta))
        return float(np.square(off).sum() + np.square(self.beliefs(theta)).sum())

    def finished(self, theta: NDArray, scatter: Scatter, decentred: bool, doubt: NDArray) -> MappingFit:
        """The fit with its covariance; that of the edges from how tiles do scatter (a sandwich over tiles).

        What the bending's last terms leave in doubt counts as a spread of that size.
        """
        scale = self.pixels_a_mm(theta)
        residual = self.off_line(theta) * scale
        free = self.free(theta, decentred)
        by_edge = scatter.whitened(self.off_line_slopes(theta)[:, free] * scale[:, None])
        by_belief = self.belief_slopes(theta)[:, free]
        inverse = _inverse_square(np.concatenate([by_edge.reshape(-1, free.sum()), by_belief]))
        pull = np.einsum("tip,ti->tp", by_edge, scatter.whitened(residual))
        tiles, edges = len(pull), int(scatter.used.sum())
        few = tiles / max(tiles - 1, 1) * (edges - 1) / max(edges - int(free.sum()), 1)
        own, shared = np.zeros((2, len(theta), len(theta)))
        own[np.ix_(free, free)] = few * inverse @ (pull.T @ pull) @ inverse
        own += np.outer(doubt, doubt)
        shared[np.ix_(free, free)] = inverse @ (by_belief.T @ by_belief) @ inverse
        # The last three beliefs are the rulers' and the distance's.
        strain = float(np.abs(self.beliefs(theta)[-3:]).max())
        mapping = self.mapping(theta)
        away = (self.lines.point[scatter.used] - mapping.centre) / mapping.unit
        reach = float(np.hypot(*away.T).max())
        return MappingFit(mapping, own, shared, scatter.used, residual, reach, strain)


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
