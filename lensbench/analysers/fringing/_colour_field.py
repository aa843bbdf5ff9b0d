"""One colour's displacement against green over the frame: a smooth field, fitted to edges, and tile by tile.

An edge shows only the part of a displacement that lies across it, and besides an offset of its own: where a colour
is blurred otherwise than green, all edges of a black figure seem to move out or in alike. The three edges of a
tile tell both apart: three offsets, three unknowns (two of the displacement, one common).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from lensbench.frame import centre_of, half_diagonal

RADIAL_TERMS = 3
"""Terms of the radial polynomial at most."""

CENTRE_PRIOR = 0.15
"""How far from the frame's centre the field's centre may lie, as a standard deviation in half-diagonals."""

GAIN = 10.0
"""By how much an even shift or decentring must better Schwarz's criterion to be believed."""

LEAST_TILES = 8
"""Tiles below which no field is fitted."""

VAGUE_PX = 0.25
"""An edge or a tile that is less sure than this standard deviation counts as not measured."""

ODD = 5.0
"""A value that lies this many standard deviations off is an outlier."""


@dataclass(frozen=True, eq=False)
class TileShifts:
    """How far one colour's edges lie from green's, by tile.

    Attributes
    ----------
    place : ndarray, shape (tiles, 2)
        Where the tile's displacement is wanted, in pixels.
    points : ndarray, shape (tiles, 3, 2, 2)
        Two places on each edge, whose mean stands for the mean along the edge.
    normal : ndarray, shape (tiles, 3, 2)
        Its unit normal towards the bright side.
    shift, sigma : ndarray, shape (tiles, 3)
        How far the colour's edge lies beyond green's along the normal, and its standard deviation.
    usable : ndarray of bool, shape (tiles, 3)
        Where there is a shift; elsewhere the rest may be anything finite.
    half_turned : ndarray of bool, shape (tiles,)
        Whether the tile stands the other way round to the frame's middle than its fellows do.
    """

    place: NDArray[np.float64]
    points: NDArray[np.float64]
    normal: NDArray[np.float64]
    shift: NDArray[np.float64]
    sigma: NDArray[np.float64]
    usable: NDArray[np.bool_]
    half_turned: NDArray[np.bool_]


# The parameters' places; all lengths but the centre's (half-diagonals) are in pixels.
_CENTRE, _SHIFT, _DECENTRING, _RADIAL = slice(0, 2), slice(2, 4), slice(4, 6), slice(6, 6 + RADIAL_TERMS)
_COMMON = slice(6 + RADIAL_TERMS, None)


@dataclass(frozen=True, eq=False)
class ColourField:
    """The smooth field: displacement and common offset as functions of the place.

    With q the place less the field's centre over the half-diagonal, and Q = |q|², the displacement in pixels is
    s + q (r₁ + r₂ Q + r₃ Q²) + Q d + 2 (q·d) q.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    theta : ndarray
        Centre (half-diagonals from the frame's), s, d, r (pixels), and the common offset's coefficients.
    covariance : ndarray
        Of `theta`; zero for what was not called for.
    residual_px : float
        Spread of the edges about the field, in pixels.
    common_spread : float
        Spread of the tiles' common offsets about their smooth course.
    fits : ndarray of bool, shape (tiles, 3)
        The edges that the field was fitted to.
    """

    size: tuple[int, int]
    theta: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residual_px: float
    common_spread: float
    fits: NDArray[np.bool_]

    @property
    def centre(self) -> NDArray:
        """The field's centre (x, y) in pixels."""
        return np.asarray(centre_of(self.size)) + half_diagonal(self.size) * self.theta[_CENTRE]

    @property
    def spread(self) -> NDArray:
        """Standard deviations of `theta`."""
        return np.sqrt(np.diagonal(self.covariance))

    def part(self, name: str) -> tuple[NDArray, NDArray]:
        """``centre``, ``shift``, ``decentring`` or ``radial``: values and standard deviations."""
        place = {"centre": _CENTRE, "shift": _SHIFT, "decentring": _DECENTRING, "radial": _RADIAL}[name]
        return self.theta[place], self.spread[place]

    def at(self, points: NDArray) -> NDArray:
        """Displacement (dx, dy) in pixels at places of shape (..., 2)."""
        return _displacement(self.theta, points, self.size)

    def common(self, points: NDArray, half_turned: NDArray) -> NDArray:
        """The common offset of a tile's edges at places of shape (..., 2)."""
        return _common_terms(points, half_turned, self.size, len(self.theta[_COMMON])) @ self.theta[_COMMON]


def _displacement(theta: NDArray, points: NDArray, size: tuple[int, int]) -> NDArray:
    q = (points - centre_of(size)) / half_diagonal(size) - theta[_CENTRE]
    square = np.square(q).sum(axis=-1)[..., None]
    decentring = theta[_DECENTRING]
    growth = np.polynomial.polynomial.polyval(square, theta[_RADIAL])
    return theta[_SHIFT] + q * growth + square * decentring + 2 * (q @ decentring)[..., None] * q


def _displacement_slopes(theta: NDArray, points: NDArray, size: tuple[int, int]) -> NDArray:
    """Derivative of the displacement by centre, shift, decentring and radial terms, shape (..., 2, parameters)."""
    q = (points - centre_of(size)) / half_diagonal(size) - theta[_CENTRE]
    square = np.square(q).sum(axis=-1)[..., None, None]
    decentring, radial = theta[_DECENTRING], theta[_RADIAL]
    even, q_column = np.broadcast_to(np.eye(2), (*q.shape, 2)), q[..., :, None]
    growth = np.polynomial.polynomial.polyval(square, radial)
    steeper = np.polynomial.polynomial.polyval(square, radial[1:] * np.arange(1, RADIAL_TERMS))
    both = q_column * q[..., None, :]
    skew = q_column * decentring
    by_place = growth * even + 2 * steeper * both + 2 * (skew + np.swapaxes(skew, -1, -2))
    by_place = by_place + 2 * (q @ decentring)[..., None, None] * even
    by_radial = q_column * np.concatenate([square**k for k in range(RADIAL_TERMS)], axis=-1)
    return np.concatenate([-by_place, even, square * even + 2 * both, by_radial], axis=-1)


def _common_terms(points: NDArray, half_turned: NDArray, size: tuple[int, int], terms: int) -> NDArray:
    """What the common offset is made of, shape (..., terms): constants, or quadratics over the frame.

    Unequal blur moves the edges of all tiles alike; lopsided blur moves those of half-turned tiles the other way.
    """
    x, y = np.moveaxis((points - centre_of(size)) / half_diagonal(size), -1, 0)
    course = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)[..., : terms // 2]
    side = np.where(half_turned, -1.0, 1.0)[..., None]
    return np.concatenate([course, side * course], axis=-1)


def fit_colour_field(shifts: TileShifts, size: tuple[int, int]) -> ColourField | None:
    """Fit the smooth field of one colour's displacement; None where there are too few tiles.

    Parameters
    ----------
    shifts : TileShifts
        The colour's edges against green's.
    size : (int, int)
        Width and height of the frame in pixels.

    References
    ----------
    The decentring terms are those of D. C. Brown, Decentering distortion of lenses, Photogrammetric Engineering 32
    (1966) 444-462.
    """
    whole = int((shifts.usable.sum(axis=1) == 3).sum())
    if whole < LEAST_TILES:
        return None
    fitting = _FieldFit(shifts, size, 12 if whole >= 40 else 2)
    theta = fitting.solve(fitting.start(), fitting.allowed(RADIAL_TERMS, True, True), loss="cauchy")
    fitting = fitting.without_outliers(theta)
    theta, free = fitting.simplest(theta)
    return fitting.finished(theta, free)


@dataclass(frozen=True, eq=False)
class _FieldFit:
    """The steps of one fit."""

    shifts: TileShifts
    size: tuple[int, int]
    common_terms: int
    unexplained: float = 0.0
    fits: NDArray[np.bool_] | None = None

    @property
    def chosen(self) -> NDArray:
        return self.shifts.usable if self.fits is None else self.fits

    def start(self) -> NDArray:
        return np.zeros(6 + RADIAL_TERMS + self.common_terms)

    def allowed(self, radial: int, shift: bool, decentring: bool) -> NDArray:
        """Which parameters are fitted."""
        free = np.ones(6 + RADIAL_TERMS + self.common_terms, bool)
        free[_SHIFT], free[_DECENTRING] = shift, decentring
        free[6 + radial : 6 + RADIAL_TERMS] = False
        return free

    def off(self, theta: NDArray) -> NDArray:
        """What the field leaves of each edge's shift, shape (tiles, 3)."""
        s = self.shifts
        across = (_displacement(theta, s.points, self.size).mean(axis=2) * s.normal).sum(axis=-1)
        turned = np.broadcast_to(s.half_turned[:, None], s.shift.shape)
        common = _common_terms(s.points.mean(axis=2), turned, self.size, self.common_terms)
        return s.shift - across - common @ theta[_COMMON]

    def residuals(self, theta: NDArray) -> NDArray:
        """Misfits in standard deviations, and how far the centre strays from the frame's."""
        sigma = np.hypot(self.shifts.sigma, self.unexplained)
        return np.concatenate([(self.off(theta) / sigma)[self.chosen], theta[_CENTRE] / CENTRE_PRIOR])

    def slopes(self, theta: NDArray) -> NDArray:
        """Derivative of the residuals by each parameter, shape (residuals, parameters)."""
        s = self.shifts
        turned = np.broadcast_to(s.half_turned[:, None], s.shift.shape)
        common = _common_terms(s.points.mean(axis=2), turned, self.size, self.common_terms)
        moved = _displacement_slopes(theta, s.points, self.size).mean(axis=2)
        across = np.einsum("teip,tei->tep", moved, s.normal)
        sigma = np.hypot(s.sigma, self.unexplained)[..., None]
        by_edge = (-np.concatenate([across, common], axis=-1) / sigma)[self.chosen]
        return np.concatenate([by_edge, np.eye(2, len(theta)) / CENTRE_PRIOR])

    def solve(self, theta: NDArray, free: NDArray, loss: str = "linear") -> NDArray:
        """Least squares from a start over the parameters that are free; the others are 0."""
        solved = np.where(free, theta, 0.0)

        def filled(trial: NDArray) -> NDArray:
            solved[free] = trial
            return solved

        solved[free] = least_squares(
            lambda trial: self.residuals(filled(trial)),
            theta[free],
            jac=lambda trial: self.slopes(filled(trial))[:, free],
            loss=loss,
            x_scale="jac",
            f_scale=2.0,
            max_nfev=100,
        ).x
        return solved

    def without_outliers(self, theta: NDArray) -> _FieldFit:
        """The same fit with the scatter found, and without the edges that lie far off."""
        usable = self.shifts.usable
        off, sigma = np.abs(self.off(theta)), self.shifts.sigma
        scatter = 1.4826 * float(np.median(off[usable]))
        unexplained = float(np.sqrt(max(scatter**2 - float(np.median(sigma[usable])) ** 2, 0.0)))
        fits = usable & (off <= ODD * np.hypot(sigma, unexplained))
        return _FieldFit(self.shifts, self.size, self.common_terms, unexplained, fits)

    def simplest(self, theta: NDArray) -> tuple[NDArray, NDArray]:
        """The parameters that the edges call for, by Schwarz's criterion, and which of them are fitted."""
        radial = [self.trial(theta, n, False, False) for n in range(1, RADIAL_TERMS + 1)]
        terms = 1 + int(np.argmin([cost for cost, _, _ in radial]))
        more = [self.trial(theta, terms, *extra) for extra in ((True, False), (False, True), (True, True))]
        _, solved, free = min([radial[terms - 1], *more], key=lambda trial: trial[0])
        return solved, free

    def trial(self, theta: NDArray, radial: int, shift: bool, decentring: bool) -> tuple[float, NDArray, NDArray]:
        """The cost of one choice of parameters, its solution and which are fitted."""
        free = self.allowed(radial, shift, decentring)
        solved = self.solve(theta, free)
        misfit = float(np.square(self.residuals(solved)).sum())
        return misfit + free.sum() * np.log(self.chosen.sum()) + GAIN * (shift + decentring), solved, free

    def finished(self, theta: NDArray, free: NDArray) -> ColourField:
        """The field with its covariance, widened where the edges scatter more than their noise."""
        slopes = self.slopes(theta)[:, free]
        left = self.residuals(theta)
        scale = max(float(left @ left) / max(len(left) - slopes.shape[1], 1), 1.0)
        covariance = np.zeros((len(theta), len(theta)))
        covariance[np.ix_(free, free)] = scale * np.linalg.pinv(slopes.T @ slopes, hermitian=True)
        off = np.where(self.chosen, self.off(theta), 0.0)
        rms = float(np.sqrt(np.square(off).sum() / max(self.chosen.sum() - free.sum(), 1)))
        # A common offset that leaves its smooth course shows in the mean of three residuals, with a third of their
        # noise.
        whole = self.chosen.all(axis=1)
        noise = np.square(self.shifts.sigma[whole]).mean() / 3 if whole.any() else 0.0
        spread = float(np.sqrt(max(np.var(off[whole].mean(axis=1)) - noise, 0.0))) if whole.any() else rms
        return ColourField(self.size, theta, covariance, rms, spread, self.chosen)


@dataclass(frozen=True, eq=False)
class TileDisplacements:
    """One colour's displacement at each tile.

    Attributes
    ----------
    place : ndarray, shape (tiles, 2)
        Where it holds, in pixels.
    shift : ndarray, shape (tiles, 2)
        (dx, dy) in pixels; 0 where it could not be measured.
    covariance : ndarray, shape (tiles, 2, 2)
        Of `shift`, from the edges' noise.
    measured : ndarray of bool, shape (tiles,)
        Where there is a displacement.
    """

    place: NDArray[np.float64]
    shift: NDArray[np.float64]
    covariance: NDArray[np.float64]
    measured: NDArray[np.bool_]


def solve_tiles(shifts: TileShifts, field: ColourField | None) -> TileDisplacements:
    """Displacement of every tile from its own edges.

    The field serves for three small things: the change of the displacement within a tile is taken off; tiles with
    two usable edges borrow the smooth common offset; and an edge that disagrees with its two fellows is left out.

    Parameters
    ----------
    shifts : TileShifts
        The colour's edges against green's.
    field : ColourField or None
        Without one only tiles with three edges are solved.
    """
    usable, shift = shifts.usable, shifts.shift
    found = np.zeros((len(usable), 2))
    covariance = np.zeros((len(usable), 2, 2))
    if field is not None:
        within = field.at(shifts.points).mean(axis=2) - field.at(shifts.place)[:, None]
        shift = shift - (within * shifts.normal).sum(axis=-1)
        common = field.common(shifts.place, shifts.half_turned)
        usable = usable & ~_odd_edges(shifts, shift, field, common)
        _solve_pairs(found, covariance, shifts, usable & field.fits, shift - common[:, None], field.common_spread)
    whole = usable.all(axis=1)
    solver = np.linalg.inv(_with_common(shifts.normal[whole]))[:, :2]
    found[whole] = np.einsum("tij,tj->ti", solver, shift[whole])
    covariance[whole] = np.einsum("tij,tj,tkj->tik", solver, np.square(shifts.sigma[whole]), solver)
    measured = (covariance[:, 0, 0] > 0) & (np.trace(covariance, axis1=1, axis2=2) <= 2 * VAGUE_PX**2)
    return TileDisplacements(shifts.place, found, covariance, measured)


def _with_common(normal: NDArray) -> NDArray:
    """The equations of three edges each for dx, dy and the common offset, shape (tiles, 3, 3)."""
    return np.concatenate([normal, np.ones((*normal.shape[:2], 1))], axis=-1)


def _odd_edges(shifts: TileShifts, shift: NDArray, field: ColourField, common: NDArray) -> NDArray:
    """The edge, in tiles whose own common offset is far off its course, that lies farthest from the field."""
    whole = shifts.usable.all(axis=1)
    solver = np.zeros((len(shift), 3))
    solver[whole] = np.linalg.inv(_with_common(shifts.normal[whole]))[:, 2]
    own = (solver * shift).sum(axis=1)
    sigma = np.sqrt((np.square(solver) * np.square(shifts.sigma)).sum(axis=1) + field.common_spread**2)
    odd = whole & (np.abs(own - common) > ODD * sigma)
    off = np.abs(shift - (field.at(shifts.place)[:, None] * shifts.normal).sum(axis=-1) - common[:, None])
    worst = np.arange(3) == off.argmax(axis=1)[:, None]
    return worst & odd[:, None]


def _solve_pairs(
    found: NDArray, covariance: NDArray, shifts: TileShifts, usable: NDArray, shift: NDArray, common_spread: float
) -> None:
    """Fill in the tiles with two usable edges, whose common offset was taken off."""
    for tile in np.flatnonzero(usable.sum(axis=1) == 2):
        two = usable[tile]
        solver = np.linalg.inv(shifts.normal[tile, two])
        found[tile] = solver @ shift[tile, two]
        noise = np.diag(np.square(shifts.sigma[tile, two])) + common_spread**2
        covariance[tile] = solver @ noise @ solver.T
