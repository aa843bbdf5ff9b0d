"""How sharpness goes through focus: one smooth curve for each of many places, and a rail read a little wrong.

What is fitted is the blur's width squared, 1 / MTF50², against the place on the rail. Widths of blurs that come
one after another add by their squares, so for Gaussian blur it is a parabola. Real blur isn't Gaussian: a
parabola puts the peak of a perfect lens 2 % too high, and that of a lens with half a wave of spherical aberration
a fifth of a quarter wave off. With a third and a fourth power both are gone, and where shots are few, a prior on
how large these powers come in lenses keeps them tame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

KEPT = 0.6
"""Shots with less than this share of the highest MTF50 don't enter the curve about its peak ..."""

LEAST_SHOTS = 5
"""... unless fewer than so many would be left."""

BENT = 0.5
"""How large the third and fourth powers come over the window, as a standard deviation, in units of the curve's
mean."""

PEAK_UNFOLLOWED, PEAK_GROWS = 0.0035, 3.5
"""What such a curve over two depths to each side misses of the peak, as a relative standard deviation of MTF50,
and the power of the window's width by which that grows ..."""

FOCUS_UNFOLLOWED, FOCUS_GROWS = 0.015, 2.5
"""... and of its place, in depths. Both from lenses with diffraction, spherical aberration, coma and
astigmatism."""

DEPTH_SHARE = 0.84
"""One depth from focus, MTF50 has this share of its peak: what a quarter wave leaves of a perfect lens's."""

RISE = 3.5
"""A peak lies between two shots that are softer by more than so many standard deviations."""

_POWERS = np.arange(5)
_FINE = np.linspace(-1, 1, 401)


@dataclass(frozen=True, eq=False)
class FocusCurves:
    """Fitted curves of n places: 1 / MTF50² = `scale` Σ `terms` t^k, with t the rail's place within the window.

    Attributes
    ----------
    middle, half : ndarray, shape (n,)
        The window: t runs from -1 to 1 over `middle` ∓ `half`.
    scale : ndarray, shape (n,)
        1 / MTF50² there, roughly.
    terms : ndarray, shape (n, 5)
        NaN where there was nothing to fit.
    covariance : ndarray, shape (n, 5, 5)
    used : ndarray of bool, shape (n, shots)
        Which shots the curve goes through.
    """

    middle: NDArray[np.float64]
    half: NDArray[np.float64]
    scale: NDArray[np.float64]
    terms: NDArray[np.float64]
    covariance: NDArray[np.float64]
    used: NDArray[np.bool_]

    def covers(self, place: float | NDArray) -> NDArray[np.bool_]:
        """Whether a place lies within each curve's window, shape (n,)."""
        return np.abs(place - self.middle) <= self.half * (1 + 1e-9)

    def squares(self, place: float | NDArray) -> NDArray[np.float64]:
        """1 / MTF50² of every curve at one place each (or the same for all), shape (n,)."""
        return self.scale * np.einsum("nk,nk->n", self._powers(place), self.terms)

    def slope(self, place: float | NDArray) -> NDArray[np.float64]:
        """How 1 / MTF50² grows along the rail there, shape (n,)."""
        return self.scale * np.einsum("nk,nk->n", self._powers(place, 1), self.terms) / self.half

    def mtf50(self, place: float | NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """MTF50 at a place and its standard deviation, shape (n,) each; NaN where the curve is none."""
        rows = self._powers(place)
        value = np.einsum("nk,nk->n", rows, self.terms)
        spread = np.sqrt(np.einsum("nj,njk,nk->n", rows, self.covariance, rows))
        value = np.where(value > 0, value, np.nan)
        mtf50 = (self.scale * value) ** -0.5
        return mtf50, mtf50 * 0.5 * spread / value

    def peaks(self) -> Peaks:
        """Where each curve is sharpest within its window."""
        level = self.terms @ (_FINE[:, None] ** _POWERS).T
        known = np.isfinite(level[:, 0])
        t = np.where(known, _FINE[np.argmin(np.where(known[:, None], level, 0.0), axis=1)], np.nan)
        for _ in range(3):
            first, second = self._derivative(t, 1), self._derivative(t, 2)
            step = -first / np.where(second > 0, second, np.inf)
            t = np.clip(t + np.clip(step, -0.02, 0.02), -1, 1)
        second = np.maximum(self._derivative(t, 2), 1e-9)
        rows = self._rows(t, 1)
        noise = np.sqrt(np.einsum("nj,njk,nk->n", rows, self.covariance, rows)) / second
        place = self.middle + t * self.half
        mtf50, mtf50_sigma = self.mtf50(place)
        lowest = np.einsum("nk,nk->n", self._rows(t, 0), self.terms)
        parabola = np.sqrt(2 * lowest * (DEPTH_SHARE**-2 - 1) / second)
        below = level < lowest[:, None] * DEPTH_SHARE**-2
        counted = (below.sum(axis=1) - 0.5) * (_FINE[1] - _FINE[0]) / 2
        depth = self.half * np.where(below[:, 0] | below[:, -1] | ~known, parabola, counted)
        wide = self.half / depth / 2
        return Peaks(
            place=place,
            sigma=noise * self.half,
            place_missed=FOCUS_UNFOLLOWED * wide**FOCUS_GROWS * depth,
            mtf50=mtf50,
            mtf50_sigma=mtf50_sigma,
            mtf50_missed=PEAK_UNFOLLOWED * wide**PEAK_GROWS * mtf50,
            depth=depth,
            side=self._sides(lowest),
        )

    def _sides(self, lowest: NDArray) -> NDArray[np.int64]:
        """Where the peak lies, by the ends of the window at which the curve rises plainly from its lowest."""
        above = []
        for end in (-1.0, 1.0):
            rows = self._rows(np.full(len(lowest), end), 0)
            spread = np.sqrt(np.einsum("nj,njk,nk->n", rows, self.covariance, rows))
            above.append((np.einsum("nk,nk->n", rows, self.terms) - lowest) / spread)
        before, after = (part > RISE for part in above)
        beyond_first = ~before & after & self.used[:, 0]
        beyond_last = before & ~after & self.used[:, -1]
        return np.select([before & after, beyond_first, beyond_last], [0, -1, 1], 2)

    def _derivative(self, t: NDArray, order: int) -> NDArray[np.float64]:
        return np.einsum("nk,nk->n", self._rows(t, order), self.terms)

    def _powers(self, place: float | NDArray, order: int = 0) -> NDArray[np.float64]:
        return self._rows((place - self.middle) / self.half, order)

    @staticmethod
    def _rows(t: NDArray, order: int) -> NDArray[np.float64]:
        """t^k, or its first or second derivative, shape (n, 5)."""
        factor = np.ones(5) if order == 0 else _POWERS if order == 1 else _POWERS * (_POWERS - 1)
        return factor * t[:, None] ** np.maximum(_POWERS - order, 0)


@dataclass(frozen=True, eq=False)
class Peaks:
    """Where n curves are sharpest, and how sharp they are there, shape (n,) each.

    Attributes
    ----------
    place, mtf50 : ndarray
    sigma, mtf50_sigma : ndarray
        Their standard deviations by noise, each curve's own.
    place_missed, mtf50_missed : ndarray
        What a curve of this shape may miss, as standard deviations: alike from curve to curve.
    depth : ndarray
        How far from the peak MTF50 falls to `DEPTH_SHARE` of it.
    side : ndarray of int
        0 where the peak is shown, -1 or 1 where it lies beyond the first or the last shot, 2 where nothing tells.
    """

    place: NDArray[np.float64]
    sigma: NDArray[np.float64]
    place_missed: NDArray[np.float64]
    mtf50: NDArray[np.float64]
    mtf50_sigma: NDArray[np.float64]
    mtf50_missed: NDArray[np.float64]
    depth: NDArray[np.float64]
    side: NDArray[np.int64]


def fit_curves(place: NDArray, mtf50: NDArray, sigma: NDArray, about: float | None = None) -> FocusCurves:
    """Fit a curve through focus to each of n series.

    Parameters
    ----------
    place : ndarray, shape (shots,)
        Places along the rail, rising.
    mtf50, sigma : ndarray, shape (n, shots)
        Sharpness and its standard deviation; NaN where a shot has none.
    about : float, optional
        A place on the rail that the curve is to go through the shots around; otherwise around each one's sharpest.

    Returns
    -------
    FocusCurves
    """
    used = _around_peak(place, mtf50) if about is None else _around(place, mtf50, about)
    enough = used.sum(axis=1) >= 3
    used &= enough[:, None]
    first = np.where(enough, np.where(used, place, np.inf).min(axis=1), -1.0)
    last = np.where(enough, np.where(used, place, -np.inf).max(axis=1), 1.0)
    middle, half = (first + last) / 2, (last - first) / 2
    squares = np.where(used, np.where(used, mtf50, 1.0) ** -2, 0.0)
    scale = np.where(enough, squares.sum(axis=1) / np.maximum(used.sum(axis=1), 1), 1.0)
    value = squares / scale[:, None]
    weight = np.where(used, np.where(used, mtf50 / (2 * sigma), 0.0) / np.where(used, value, 1.0), 0.0)
    t = (place - middle[:, None]) / half[:, None]
    rows = (t[..., None] ** _POWERS) * weight[..., None]
    matrix = np.einsum("nsj,nsk->njk", rows, rows)
    prior = np.array([0.0, 0.0, 0.0, BENT**-2, BENT**-2])
    matrix[:, _POWERS, _POWERS] += prior + 1e-9
    covariance = np.linalg.inv(matrix)
    terms = np.einsum("njk,nsk,ns->nj", covariance, rows, value * weight)
    left = value * weight - np.einsum("nsk,nk->ns", rows, terms)
    spare = np.maximum(used.sum(axis=1) - 3, 1)
    strain = (np.sum(left**2, axis=1) + np.sum(prior * terms**2, axis=1)) / spare
    covariance *= np.maximum(strain, 1.0)[:, None, None]
    terms[~enough] = np.nan
    return FocusCurves(middle, half, scale, terms, covariance, used)


def _around_peak(place: NDArray, mtf50: NDArray) -> NDArray[np.bool_]:
    """The unbroken run of sharp shots around each series' sharpest, or the nearest few."""
    known = np.isfinite(mtf50)
    level = np.where(known, mtf50, -np.inf)
    sharpest = np.argmax(level, axis=1)
    highest = level.max(axis=1)
    number = np.arange(len(place))
    blunt = known & (level < KEPT * highest[:, None])
    left = np.where(blunt & (number < sharpest[:, None]), number, -1).max(axis=1)
    right = np.where(blunt & (number > sharpest[:, None]), number, len(place)).min(axis=1)
    run = known & (number > left[:, None]) & (number < right[:, None])
    near = _nearest(place, known, place[sharpest])
    return np.where((run.sum(axis=1) >= LEAST_SHOTS)[:, None], run, run | near)


def _around(place: NDArray, mtf50: NDArray, about: float) -> NDArray[np.bool_]:
    return _nearest(place, np.isfinite(mtf50), np.full(len(mtf50), about))


def _nearest(place: NDArray, known: NDArray, about: NDArray) -> NDArray[np.bool_]:
    """The `LEAST_SHOTS` known shots nearest to a place of each series."""
    away = np.where(known, np.abs(place - about[:, None]), np.inf)
    limit = np.sort(away, axis=1)[:, min(LEAST_SHOTS, len(place)) - 1]
    return known & (away <= limit[:, None])
