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

CELLS_ACROSS, CELLS_ALONG = 2 * profile.CELLS, 12
"""Cells on both sides of an edge in which light that spills over other edges counts as even."""

USUAL_SCALE = 0.5
"""How rough tails are, against `profile.SCALES`, before samples tell."""

_SIDE = np.where(np.abs(profile.bin_places()) < CORE, 0, np.sign(profile.bin_places())).astype(np.int64)
_IN_CORE = _SIDE == 0
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
        The blur width that scales the knots, in pixels.
    coefficients, covariance : ndarray, shape (n, K) and (n, K, K)
        The profile's.
    variance : ndarray, shape (n, BINS)
        Of one sample, by bin.
    unrest : ndarray, shape (n,)
        Variance of the line's pieces over what the samples' noise gives: ragged or dirty edges have more than 1.
    reach : ndarray, shape (n, 2)
        How far the samples go on the dark and the bright side, in blur widths.
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
        self.covariance = np.zeros((self.n, profile.COEFFICIENTS, profile.COEFFICIENTS))
        self.variance = np.repeat(np.maximum(noise, NOISE_FLOOR)[:, None] ** 2, profile.BINS, axis=1)
        self.unrest = np.ones(self.n)
        self._scale = np.full((self.n, 1), USUAL_SCALE)
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
        self._fit_anew()
        self._improve()
        self._improve(reject=True)

    def cells(self) -> tuple[NDArray, NDArray, NDArray]:
        """The cells that hold samples, and where these lie on average along the nominal lines, and across.

        A cell is numbered as in an array of shape (n, CELLS_ACROSS, CELLS_ALONG).
        """
        if self._cells is None:
            count, t, u = sum(
                loops.places_by_cell(cell, samples.t, samples.u, self._spill.size)
                for cell, samples in zip(self._members(), (self.near, self.far), strict=True)
            )
            held = np.flatnonzero(count)
            self._cells = held, t[held] / count[held], u[held] / count[held]
        return self._cells

    def _members(self) -> tuple[NDArray, NDArray]:
        """Which of `cells` each near and each far sample lies in."""
        if self._cell_of is None:
            self._cell_of = self._cell(self._near_key, self.near_tau), self._cell(self._far_key, self.far_tau)
        return self._cell_of

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

    def _cell(self, key: NDArray, tau: NDArray) -> NDArray:
        """Which of `cells` samples lie in."""
        return key // np.int32(profile.FINE) * np.int32(CELLS_ALONG) + pieces_along(tau, CELLS_ALONG)

    def _placed(self, samples: EdgeSamples, tau: NDArray) -> tuple[NDArray, NDArray]:
        """Bin of every sample, and how far it lies from the bin's middle (in cells)."""
        offset, turn, bend = self.line.T
        lines = np.stack([offset - bend / 3, turn, bend, 1 / self.blur, 1 / self.half], axis=1)
        return loops.placed(samples.edge, tau, samples.u, lines, profile.GRID, profile.BINS)

    def _place_far(self) -> None:
        self._far_key, _ = self._placed(self.far, self.far_tau)
        self._bin_far()

    def _bin_far(self) -> None:
        self._far_count, self._far_light, self._far_square = self._binned(self._far_key, self.far.light)

    def _binned(self, key: NDArray, light: NDArray) -> NDArray:
        """How many samples, their light and its square in each bin, shape (3, n, BINS)."""
        return loops.binned(key, light, self.n, profile.BINS)

    def _tables(self) -> tuple[NDArray, NDArray, NDArray]:
        """Of each edge by bin: level, slope by cell, slope by pixel."""
        level, rise = profile.levels(self.coefficients), profile.rises(self.coefficients)
        level = level + (self.unlevel[..., None] * self._lifted(level)).sum(axis=1)
        return level, rise, rise * profile.cells_a_distance(profile.bin_places()) / self.blur[:, None]

    def _lifted(self, level: NDArray) -> NDArray:
        """What a unit of each part of `unlevel` adds to the light, by bin: shape (n, 2, BINS)."""
        light, u = level + self._dark[:, None], profile.bin_places() * self.blur[:, None]
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
        self._scale[:] = USUAL_SCALE
        self._bands = loops.normal_bands(count / self.variance, profile.bin_pieces()[0])
        self._right = profile.onto_basis((light + self._far_light) / self.variance)
        self.coefficients = self._solved(self._right[:, None])[:, 0]
        self.line[:, 0] = self.place()

    def _improve(self, reject: bool = False, last: bool = False) -> None:
        """One Gauss-Newton step of profile, turn and bend together, after a new look at the noise."""
        level, rise, steep = self._tables()
        key, residual = self._near_residuals(level, rise)
        if reject:
            key, residual = self._reject(level, key, residual)
        self._near_key, self._cell_of, self._cells = key, None, None
        count, total, square, *levers = loops.binned_along(
            key, self.near_piece, residual, _PIECE_SHAPES[1:], self.n, profile.BINS
        )
        count += self._far_count
        total += self._far_light - self._far_count * level
        square += self._far_square - 2 * level * self._far_light + self._far_count * level**2
        self._count = count
        self.reach = self._reach(count)
        self.variance = loops.variances(count, square, level, steep, _SIDE, NOISE_FLOOR**2)
        pull = np.where(_IN_CORE, steep / self.variance, 0)
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
        return banded.solved(banded.factored(self._bands + self._roughness()), right)

    def _settle(self, equations: _Equations) -> None:
        """The last step, and how sure everything is."""
        inverse = self._solved(np.repeat(np.eye(profile.COEFFICIENTS)[None], self.n, axis=0))
        along = equations.cross @ inverse
        covariance = self._go(equations, np.einsum("njk,nk->nj", inverse, self._right), along)
        self.covariance = inverse + along.transpose(0, 2, 1) @ covariance @ along

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

    def _roughness(self) -> NDArray:
        """What is expected of each profile, as bands."""
        return profile.roughness_bands(profile.expected_roughness(self.reach, self._scale))[:, 0]

    def _choose_scale(self) -> None:
        """How rough each profile's tails are, by the evidence of its samples."""
        rough = profile.expected_roughness(self.reach, profile.SCALES)
        bands = self._bands[:, None] + profile.roughness_bands(rough)
        factors = banded.factored(bands.reshape(-1, *bands.shape[2:]))
        right = np.repeat(self._right, len(profile.SCALES), axis=0)
        gain = (right * banded.solved(factors, right[:, None])[:, 0]).sum(axis=1) - banded.log_determinant(factors)
        evidence = gain.reshape(-1, len(profile.SCALES)) / 2 - np.log(rough).sum(axis=2)
        share = np.exp(evidence - evidence.max(axis=1, keepdims=True))
        self._scale = np.exp(share @ np.log(profile.SCALES) / share.sum(axis=1))[:, None]

    def place(self) -> NDArray:
        """Where the profile crosses half, averaged along the edge: pixels along the nominal normal, shape (n,)."""
        return self.line[:, 0] + self.blur * self.half_crossing()

    @property
    def gap(self) -> NDArray:
        """The widest gap between samples across the rise, in blur widths, shape (n,)."""
        z = profile.bin_places()
        core = np.abs(z) < 2
        place = np.where(self._count[:, core] > 0, z[core], -np.inf)
        last = np.maximum.accumulate(np.maximum(place, z[core][0]), axis=1)
        return np.diff(last, axis=1).max(axis=1)

    def _set_blur(self) -> None:
        """The blur width that scales the knots: from the steepest slope, held near that of the MTF50."""
        dark, white = self.plateaus()
        steepest = self._tables()[2].max(axis=1)
        by_slope = (white - dark) / (np.sqrt(2 * np.pi) * np.maximum(steepest, 1e-12))
        q = self.q50()[0]
        # An edge that is no edge may have no MTF50, or one at the frequency zero.
        by_mtf50 = self.blur * GAUSSIAN_MTF50 / np.where(np.isfinite(q) & (q > 0), q, GAUSSIAN_MTF50)
        blur = np.clip(by_slope, 0.6 * by_mtf50, by_mtf50)
        self.blur = np.clip(blur, np.maximum(MIN_BLUR, self.blur / 4), self.blur * 1.5)

    # -- noise ------------------------------------------------------------------------------------------------

    def _reject(self, level: NDArray, key: NDArray, residual: NDArray) -> tuple[NDArray, NDArray]:
        """Leave out hot pixels and dirt; the keys and residuals of the near samples that stay."""
        limit = np.maximum(REJECT**2 * self._usual_variance(key, residual), REJECT_FROM**2)
        near = loops.within(key, residual, limit)
        far = loops.within(self._far_key, self.far.light - level.take(self._far_key), limit)
        if near.all() and far.all():
            return key, residual
        self._far_key = self._far_key[far]
        self._take(self.near.keep(near), self.far.keep(far))
        self._bin_far()
        return key[near], residual[near]

    def _usual_variance(self, key: NDArray, residual: NDArray) -> NDArray:
        """Variance by bin, in the core no larger than most samples there show.

        A few spoiled samples in the rise make its line look ragged, and would hide behind that.
        """
        firmness = np.where(_IN_CORE, self.variance**-0.5, 0)
        usual = loops.usual_size(key, residual, firmness) / np.sqrt(2 / np.pi)
        return np.where(_IN_CORE, np.clip(usual, 0.01, 1)[:, None] ** 2, 1) * self.variance

    # -- line -------------------------------------------------------------------------------------------------

    def _straighten(self) -> None:
        """Lay the line through the middle of the rise, whatever its shape, by ever less blurred ones."""
        rough = self.blur
        self.coefficients[:] = profile.gaussian_edge()
        for more in (1.6, 0.8):
            self.blur = rough + more
            level, rise, steep = self._tables()
            key, residual = self._near_residuals(level, rise)
            pull = np.where(_IN_CORE, steep / self.variance, 0)
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
