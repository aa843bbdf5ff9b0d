"""The fit of edges: a smooth profile and a line that may bend, by turns, weighted by each edge's own noise."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._curves import CORE, GAUSSIAN_MTF50, EdgeProfiles
from lensbench.analysers.edge._first_look import MIN_BLUR, NOISE_FLOOR
from lensbench.analysers.edge._samples import EdgeSamples, pieces_along
from lensbench.analysers.numerics import banded

NEAR = 3.5
"""Samples within so many blur widths, and two pixels, are placed anew whenever the line moves; farther out all is
flat."""

REJECT = 6.0
"""Samples farther off than so many standard deviations are hot pixels or dirt ..."""

REJECT_FROM = 0.01
"""... if by more than this share of the contrast: less does no harm, and the profile's knots may miss as much."""

PIECES = 24
"""Pieces along an edge in which its straightness is held against its noise."""

CELLS_ALONG = 12
"""Cells along an edge in which light that spills over other edges counts as even ..."""

TOGETHER, TOGETHER_WITHIN = 4, 12
"""... and across it: the profile's, so many together within so many of its middle, where they are narrow."""

DOUBT = 0.1
"""How many differences of a profile's coefficients count as seen at their usual size, in each of its zones."""

FIRST_SCALES = np.array([1.0, 1.0, 1.0, 1.0, 4.0, 4.0, 4.0, 10.0])
"""How many times their usual size they are before samples tell: more where light is faint, and most of far light.
What begins stiffer than it is passes for something else, and stays so."""

TURNS = 2
"""How often these are set by the samples."""


def _cells_across() -> NDArray[np.int32]:
    """Which cell across an edge each bin of its profile lies in."""
    from_middle = np.repeat(np.arange(2 * profile.CELLS), profile.FINE) - profile.CELLS
    narrow = (from_middle >= -TOGETHER_WITHIN) & (from_middle < TOGETHER_WITHIN)
    first = np.where(narrow, from_middle // TOGETHER * TOGETHER, from_middle)
    return np.unique(first, return_inverse=True)[1].astype(np.int32)


_ACROSS = _cells_across()
CELLS_ACROSS = int(_ACROSS[-1]) + 1

_PIECE_MIDDLES = (np.arange(PIECES) + 0.5) * (2 / PIECES) - 1
_PIECE_SHAPES = np.stack([np.ones(PIECES), _PIECE_MIDDLES, _PIECE_MIDDLES**2 - 1 / 3])
_PIECE_PRODUCTS = (_PIECE_SHAPES[:, None] * _PIECE_SHAPES).reshape(9, PIECES).T
_LINE_PRIOR = np.diag([1e-9, 1 / 9, 1 / 9])
"""Before it is looked at, a line is turned and bent by 3 pixels or so at its ends."""


@dataclass(frozen=True, eq=False)
class _Equations:
    """Normal equations beside the profile's: what ties turn, bend and unlevel light to it, theirs, right side."""

    cross: NDArray
    own: NDArray
    wanted: NDArray


class EdgeFit(EdgeProfiles):
    """Profiles and lines of n edges.

    A line is d = (u - p0 - p1 τ - p2 (τ² - 1/3)) / √(1 + slope²), τ from -1 to 1 over the used length, so p0 is
    its mean offset. Light is in shares of the contrast: about 0 on the dark side and 1 on the bright.

    Attributes
    ----------
    line : ndarray, shape (n, 3)
        p0, p1, p2 in pixels.
    blur : ndarray, shape (n,)
        Blur widths in pixels: of the core, where that stands in a glow.
    coefficients : ndarray, shape (n, K)
        The profile's.
    variance : ndarray, shape (n, BINS)
        Of one sample, by bin.
    unrest : ndarray, shape (n,)
        Variance of the line's pieces over what the samples' noise gives: ragged or dirty edges have more than 1.
    confounding : ndarray, shape (n,)
        Variance of the turn over what it would be were the profile known (1 until `finish`): large where a turn
        and a stretched profile move all samples alike.
    reach : ndarray, shape (n, 2)
        How far the samples go on the dark and the bright side, in pixels.
    unlevel : ndarray, shape (n, 2)
        First and second derivative by pixels, along the normal, of the light that was left in the samples.
    """

    def __init__(
        self,
        samples: EdgeSamples,
        middle: NDArray,
        half: NDArray,
        blur: NDArray,
        noise: NDArray,
        dark: NDArray,
        unlevel_covariance: NDArray,
    ):
        self.n = len(blur)
        self.middle, self.half = middle, half
        self.blur = blur.copy()
        self.line = np.zeros((self.n, 3))
        self.reach = np.zeros((self.n, 2))
        self.unlevel = np.zeros((self.n, 2))
        self._dark, self._unlevel_prior = dark, np.linalg.inv(unlevel_covariance)
        self.coefficients = np.zeros((self.n, profile.COEFFICIENTS))
        self.variance = np.repeat(np.maximum(noise, NOISE_FLOOR)[:, None] ** 2, profile.BINS, axis=1)
        self.unrest, self.confounding = np.ones((2, self.n))
        self._along, self._covariance = np.zeros((self.n, 4, profile.COEFFICIENTS)), np.zeros((self.n, 4, 4))
        self._spill = self._taken_off = np.zeros((self.n, CELLS_ACROSS, CELLS_ALONG))
        reach = (NEAR * blur + 2.0).astype(np.float32)
        near = np.abs(samples.u) < reach[samples.edge]
        self._take(samples.keep(near), samples.keep(~near))

    def begin(self) -> None:
        """Fit, by turns, until profile and line nearly stand."""
        self._straighten()
        self._place_far()
        self._fit_anew()
        self._improve()
        self._set_blur()
        self._place_far()
        self._improve(reject=True)

    def cells(self) -> tuple[NDArray, NDArray, NDArray]:
        """The cells that hold samples, and where these lie on average along the nominal lines, and across.

        A cell is numbered as in an array of shape (n, CELLS_ACROSS, CELLS_ALONG).
        """
        if self._cells is None:
            near, far = self._members()
            if self._far_places is None:
                self._far_places = loops.places_by_cell(far, self.far.t, self.far.u, self._spill.size)
            count, t, u = self._far_places + loops.places_by_cell(near, self.near.t, self.near.u, self._spill.size)
            held = np.flatnonzero(count)
            self._cells = held, t[held] / count[held], u[held] / count[held]
        return self._cells

    def _members(self) -> tuple[NDArray, NDArray]:
        """Which of `cells` each near and each far sample lies in."""
        if self._near_cell is None:
            self._near_cell = loops.cells_of(self._near_key, self.near_tau, _ACROSS, CELLS_ALONG)
        if self._far_cell is None:
            self._far_cell = loops.cells_of(self._far_key, self.far_tau, _ACROSS, CELLS_ALONG)
        return self._near_cell, self._far_cell

    def without(self, spill: NDArray, again: bool) -> None:
        """The profile anew as if so much less light fell into each of `cells`; line and noise stay.

        How rough its tails are is chosen `again`, or stays.
        """
        near, far = self._members()
        extra = spill - self._spill
        total = loops.binned_by_cell(self._near_key, near, extra, self.n, profile.BINS)
        total += loops.binned_by_cell(self._far_key, far, extra, self.n, profile.BINS)
        self._spill = spill
        self._right -= profile.onto_basis(total / self.variance)
        if again:
            self._choose_scale()
        self.coefficients = self._solved(self._right[:, None])[:, 0]

    def take_off(self) -> None:
        """Take that light off the samples themselves, and fit profile and line."""
        extra = (self._spill - self._taken_off).astype(np.float32).ravel()
        self._taken_off = self._spill
        near, far = (extra.take(cell) for cell in self._members())
        self.near = replace(self.near, light=self.near.light - near)
        self.far = replace(self.far, light=self.far.light - far)
        self._bin_far()
        self._improve()

    def finish(self) -> None:
        """Fit once and for all."""
        # The first time spoiled samples still passed for noise, and so hid the milder among themselves.
        self._improve(reject=True, last=True)

    # -- samples to bins --------------------------------------------------------------------------------------

    def _take(self, near: EdgeSamples, far: EdgeSamples) -> None:
        self.near, self.far = near, far
        self.near_tau, self.far_tau = self._tau(near), self._tau(far)
        self.near_piece = pieces_along(self.near_tau, PIECES)

    def _tau(self, samples: EdgeSamples) -> NDArray:
        middle, scale = self.middle.astype(np.float32), (1 / self.half).astype(np.float32)
        return (samples.t - middle.take(samples.edge)) * scale.take(samples.edge)

    def _placed(self, samples: EdgeSamples, tau: NDArray) -> tuple[NDArray, NDArray]:
        """Bin of every sample, and how far it lies from the bin's middle (in cells)."""
        offset, turn, bend = self.line.T
        lines = np.stack([offset - bend / 3, turn, bend, 1 / self.half], axis=1)
        return loops.placed(samples.edge, tau, samples.u, lines, profile.GRID, profile.BINS)

    def _place_far(self) -> None:
        self._far_key, _ = self._placed(self.far, self.far_tau)
        self._far_cell = self._far_places = None
        self._bin_far()

    def _bin_far(self) -> None:
        """The far samples' light by bin."""
        self._far_count, self._far_light, self._far_square = self._binned(self._far_key, self.far.light)

    def _binned(self, key: NDArray, light: NDArray) -> NDArray:
        """How many samples, their light and its square in each bin, shape (3, n, BINS)."""
        return loops.binned(key, light, self.n, profile.BINS)

    def _tables(self) -> tuple[NDArray, NDArray, NDArray]:
        """Of each edge by bin: level, slope by cell, slope by pixel."""
        level, rise = profile.levels(self.coefficients), profile.rises(self.coefficients)
        level = level + (self.unlevel[..., None] * self._lifted(level)).sum(axis=1)
        return level, rise, rise * profile.cells_a_distance(profile.bin_places())

    def _lifted(self, level: NDArray) -> NDArray:
        """What a unit of each part of `unlevel` adds to the light, by bin: shape (n, 2, BINS)."""
        light, u = level + self._dark[:, None], profile.bin_places()
        return np.stack([light * u, light * u**2 / 2], axis=1)

    def _near_residuals(self, level: NDArray, rise: NDArray) -> tuple[NDArray, NDArray]:
        key, off = self._placed(self.near, self.near_tau)
        return key, loops.unfitted(key, off, self.near.light, level, rise)

    # -- profile ----------------------------------------------------------------------------------------------

    def _fit_anew(self) -> None:
        """The profile from nothing; the line stays, the noise counts as even and the light as level."""
        self.unlevel[:] = 0
        key, _ = self._placed(self.near, self.near_tau)
        count, light, _ = self._binned(key, self.near.light)
        count += self._far_count
        self.reach = self._reach(count)
        self._bands = loops.normal_bands(count / self.variance, profile.bin_pieces()[0])
        self._right = profile.onto_basis((light + self._far_light) / self.variance)
        self._choose_scale()
        self.coefficients = self._solved(self._right[:, None])[:, 0]
        self.line[:, 0] = self.place()

    def _improve(self, reject: bool = False, last: bool = False) -> None:
        """One Gauss-Newton step of profile, turn and bend together, after a new look at the noise."""
        level, rise, steep = self._tables()
        key, residual = self._near_residuals(level, rise)
        if reject:
            key, residual = self._reject(level, key, residual)
        self._near_key, self._near_cell, self._cells = key, None, None
        count, total, square, *levers = loops.binned_along(
            key, self.near_piece, residual, _PIECE_SHAPES[1:], self.n, profile.BINS
        )
        count += self._far_count
        total += self._far_light - self._far_count * level
        square += self._far_square - 2 * level * self._far_light + self._far_count * level**2
        self._count = count
        self.reach = self._reach(count)
        self.variance = loops.variances(count, square, level, steep, self._side(), NOISE_FLOOR**2)
        pull = np.where(self._side() == 0, steep / self.variance, 0)
        pieces = profile.bin_pieces()[0]
        self._bands = loops.normal_bands(count / self.variance, pieces)
        right, cross, lift = loops.equations(
            count, total, np.stack(levers), self.variance, pull, self._lifted(level), pieces
        )
        self._right = right + banded.times(self._bands, self.coefficients)
        push, grip = loops.pushes(key, self.near_piece, residual, pull, steep, PIECES)
        own = np.zeros((self.n, 4, 4))
        own[:, :2, :2] = (grip @ _PIECE_PRODUCTS).reshape(-1, 3, 3)[:, 1:, 1:] + _LINE_PRIOR[1:, 1:]
        own[:, 2:, 2:] = lift[:, :2] + self._unlevel_prior
        level_out = lift[:, 2] - np.einsum("nij,nj->ni", self._unlevel_prior, self.unlevel)
        wanted = np.concatenate([push @ _PIECE_SHAPES[1:].T, level_out], axis=1)
        equations = _Equations(cross, own, wanted)
        self._choose_scale()
        if last:
            self._settle(equations)
            self._set_unrest(push, grip)
        else:
            self._step(equations)

    def _step(self, equations: _Equations) -> None:
        solved = self._solved(np.concatenate([self._right[:, None], equations.cross], axis=1))
        self._go(equations, solved[:, 0], solved[:, 1:])
        self.line[:, 0] = self.place()

    def _solved(self, right: NDArray) -> NDArray:
        """Coefficients by right sides of the profile's equations, shape (n, m, K)."""
        return banded.solved(self._factors, right)

    def _settle(self, equations: _Equations) -> None:
        """The last step, and how sure everything is."""
        solved = self._solved(np.concatenate([self._right[:, None], equations.cross], axis=1))
        self._along = solved[:, 1:]
        self._covariance = self._go(equations, solved[:, 0], self._along)
        self.confounding = equations.own[:, 0, 0] * self._covariance[:, 0, 0]

    def spread(self, derivative: NDArray) -> NDArray:
        """Standard deviation of figures with these derivatives by the coefficients, shape (n, m, K) to (n, m).

        Before the last step it is as if line and light were known.
        """
        derivative = np.ascontiguousarray(derivative)
        variance = (derivative * banded.solved(self._factors, derivative)).sum(axis=-1)
        by_rest = derivative @ self._along.transpose(0, 2, 1)
        variance += ((by_rest @ self._covariance) * by_rest).sum(axis=-1)
        return np.sqrt(np.maximum(variance, 0))

    def _go(self, equations: _Equations, alone: NDArray, along: NDArray) -> NDArray:
        """Step profile, turn, bend and what is unlevel together; the covariance of all but the profile.

        `alone` solves for the profile as if the rest stood, `along` says how it follows each of the rest.
        """
        covariance = np.linalg.inv(equations.own - equations.cross @ along.transpose(0, 2, 1))
        rest = equations.wanted - np.einsum("nkj,nj->nk", equations.cross, alone - self.coefficients)
        step = np.clip(np.einsum("nij,nj->ni", covariance, rest), -3, 3)
        self.coefficients = alone - np.einsum("nkj,nk->nj", along, step)
        self.line[:, 1:] += step[:, :2]
        self.unlevel += step[:, 2:]
        return covariance

    def _reach(self, count: NDArray) -> NDArray:
        z = profile.bin_places()
        low, high = (np.where(count > 0, sign * z, 0).max(axis=1) for sign in (-1, 1))
        return np.stack([low, high], axis=1)

    def _choose_scale(self) -> None:
        """How rough each profile is in each zone, by its own samples, and the factors of its equations so."""
        rough, usual = profile.roughness(), profile.usual_roughness(self.blur)
        seen = profile.seen_roughness(self.reach)
        most = profile.most_roughness(seen)
        bands = self._bands.copy()
        # Levels are within hundreds of contrasts: that holds a profile without any samples.
        bands[:, 0] += 1e-5
        # Begun anew each time: what light spilt in before must not go on to pass for roughness.
        sigma = banded.rescaled(bands, self._right, *rough, usual, most, seen, FIRST_SCALES, DOUBT, TURNS)
        self._factors = banded.factored(banded.with_rows(bands, rough.rows, rough.first, sigma))

    def place(self) -> NDArray:
        """Where the profile crosses half, averaged along the edge: pixels along the nominal normal, shape (n,)."""
        return self.line[:, 0] + self.half_crossing()

    @property
    def gap(self) -> NDArray:
        """The widest gap between samples across the rise, in blur widths, shape (n,)."""
        z = profile.bin_places()
        share = z / (2 * self.blur[:, None])
        place = np.where(self._count > 0, np.clip(share, -1, 1), -1)
        return 2 * np.diff(np.maximum.accumulate(place, axis=1), axis=1).max(axis=1)

    def _set_blur(self) -> None:
        """Blur widths from the steepest slope, no wider than those of the MTF50."""
        dark, white = self.plateaus()
        steepest = self._tables()[2].max(axis=1)
        by_slope = (white - dark) / (np.sqrt(2 * np.pi) * np.maximum(steepest, 1e-12))
        q = self.q50()[0]
        # An edge that is no edge may have no MTF50, or one at the frequency zero.
        by_mtf50 = np.where(np.isfinite(q) & (q > 0), GAUSSIAN_MTF50 / np.where(q > 0, q, 1), self.blur)
        self.blur = np.clip(np.minimum(by_slope, by_mtf50), np.maximum(MIN_BLUR, self.blur / 40), self.blur * 1.5)

    def _side(self) -> NDArray[np.int64]:
        """-1 in bins far on the dark side, 1 far on the bright, 0 between, where the slope tells of the line."""
        z = profile.bin_places()
        return np.where(np.abs(z) < CORE * self.blur[:, None], 0, np.sign(z)).astype(np.int64)

    # -- noise ------------------------------------------------------------------------------------------------

    def _reject(self, level: NDArray, key: NDArray, residual: NDArray) -> tuple[NDArray, NDArray]:
        """Leave out hot pixels and dirt; the keys and residuals of the near samples that stay."""
        limit = np.maximum(REJECT**2 * self._usual_variance(key, residual), REJECT_FROM**2)
        near = loops.within(key, residual, limit)
        far = loops.within(self._far_key, self.far.light - level.take(self._far_key), limit)
        if near.all() and far.all():
            return key, residual
        self._far_key, self._far_cell, self._far_places = self._far_key[far], None, None
        self._take(self.near.keep(near), self.far.keep(far))
        self._bin_far()
        return key[near], residual[near]

    def _usual_variance(self, key: NDArray, residual: NDArray) -> NDArray:
        """Variance by bin, in the core no larger than most samples there show.

        A few spoiled samples in the rise make its line look ragged, and would hide behind that.
        """
        in_core = self._side() == 0
        firmness = np.where(in_core, self.variance**-0.5, 0)
        usual = loops.usual_size(key, residual, firmness) / np.sqrt(2 / np.pi)
        return np.where(in_core, np.clip(usual, 0.01, 1)[:, None] ** 2, 1) * self.variance

    # -- line -------------------------------------------------------------------------------------------------

    def _straighten(self) -> None:
        """Lay the line through the middle of the rise, whatever its shape, by ever less blurred ones."""
        rough = self.blur
        for more in (1.6, 0.8):
            self.blur = rough + more
            self.coefficients = profile.gaussian_edges(self.blur)
            level, rise, steep = self._tables()
            key, residual = self._near_residuals(level, rise)
            pull = np.where(self._side() == 0, steep / self.variance, 0)
            push, grip = loops.pushes(key, self.near_piece, residual, pull, steep, PIECES)
            matrix = (grip @ _PIECE_PRODUCTS).reshape(-1, 3, 3) + _LINE_PRIOR
            self.line += np.clip(np.linalg.solve(matrix, (push @ _PIECE_SHAPES.T)[..., None])[..., 0], -3, 3)
        self.blur = rough

    def _set_unrest(self, push: NDArray, grip: NDArray) -> None:
        held = grip > 0
        rest = np.where(held, push**2 / np.where(held, grip, 1), 0).sum(axis=1)
        freedom = np.maximum(held.sum(axis=1) - 3, 0)
        # Drawn half-way to 1 by as many pieces again: 21 pieces alone tell it to a third only.
        self.unrest = np.maximum((rest + PIECES) / (freedom + PIECES), 1.0)
