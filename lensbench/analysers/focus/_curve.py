"""Sharpness through focus: smooth curves of the blur's squared width against the position on the rail.

What is modelled is the blur's width squared, 1 / MTF50². Widths of blurs that follow one another add by their
squares, so for Gaussian blur it is a parabola. Real blur isn't Gaussian: a parabola puts the peak of a perfect
lens 2 % too high, and that of a lens with half a wave of spherical aberration a fifth of a quarter wave off. With
a third and a fourth power both errors vanish, and where shots are few, a prior on the size of these powers in
lenses keeps them small (study: `tests/bench/focus.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

PEAK_MODEL_SIGMA, PEAK_MODEL_POWER = 0.0035, 3.5
"""Model error of the peak for a window of two depths to each side, as a relative standard deviation of MTF50, and
the power of the window's width by which it grows ..."""

FOCUS_MODEL_SIGMA, FOCUS_MODEL_POWER = 0.015, 2.5
"""... and of its position, in depths. Both from lenses with diffraction, spherical aberration, coma and
astigmatism (study: `tests/bench/focus.py`)."""

DEPTH_SHARE = 0.84
"""One depth from focus, MTF50 has this share of its peak: that of a perfect lens a quarter wave out of focus."""

SIGNIFICANT_RISE = 3.5
"""A peak lies between two shots that are softer by more than so many standard deviations (chosen by
experience)."""

POWERS = np.arange(5)
_GRID = np.linspace(-1, 1, 401)


@dataclass(frozen=True, eq=False)
class FocusCurves:
    """Fitted curves of n series: 1 / MTF50² = `scale` Σ `terms` t^k, with t the position within the window.

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
        Which shots the curve was fitted to.
    """

    middle: NDArray[np.float64]
    half: NDArray[np.float64]
    scale: NDArray[np.float64]
    terms: NDArray[np.float64]
    covariance: NDArray[np.float64]
    used: NDArray[np.bool_]

    def covers(self, position: float | NDArray) -> NDArray[np.bool_]:
        """Whether a position lies within each curve's window, shape (n,)."""
        return np.abs(position - self.middle) <= self.half * (1 + 1e-9)

    def squares(self, position: float | NDArray) -> NDArray[np.float64]:
        """1 / MTF50² of every curve at one position each (or the same for all), shape (n,)."""
        return self.scale * np.einsum("nk,nk->n", self._basis(self._t(position)), self.terms)

    def slope(self, position: float | NDArray) -> NDArray[np.float64]:
        """Derivative of 1 / MTF50² along the rail there, shape (n,)."""
        return self.scale * np.einsum("nk,nk->n", self._basis(self._t(position), 1), self.terms) / self.half

    def mtf50(self, position: float | NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """MTF50 at a position and its standard deviation, shape (n,) each; NaN where the curve is none."""
        basis = self._basis(self._t(position))
        value = np.einsum("nk,nk->n", basis, self.terms)
        sigma = np.sqrt(np.einsum("nj,njk,nk->n", basis, self.covariance, basis))
        value = np.where(value > 0, value, np.nan)
        mtf50 = (self.scale * value) ** -0.5
        return mtf50, mtf50 * 0.5 * sigma / value

    def mtf50_slope(self, position: float | NDArray) -> NDArray[np.float64]:
        """Derivative of MTF50 along the rail at a position, shape (n,)."""
        return -0.5 * self.mtf50(position)[0] ** 3 * self.slope(position)

    def peaks(self) -> Peaks:
        """Where each curve is sharpest within its window."""
        level = self.terms @ (_GRID[:, None] ** POWERS).T
        known = np.isfinite(level[:, 0])
        t = np.where(known, _GRID[np.argmin(np.where(known[:, None], level, 0.0), axis=1)], np.nan)
        for _ in range(3):
            first, second = self._derivative(t, 1), self._derivative(t, 2)
            step = -first / np.where(second > 0, second, np.inf)
            t = np.clip(t + np.clip(step, -0.02, 0.02), -1, 1)
        second = np.maximum(self._derivative(t, 2), 1e-9)
        basis = self._basis(t, 1)
        noise = np.sqrt(np.einsum("nj,njk,nk->n", basis, self.covariance, basis)) / second
        position = self.middle + t * self.half
        mtf50, mtf50_sigma = self.mtf50(position)
        lowest = self._derivative(t, 0)
        parabola = np.sqrt(2 * lowest * (DEPTH_SHARE**-2 - 1) / second)
        below = level < lowest[:, None] * DEPTH_SHARE**-2
        counted = (below.sum(axis=1) - 0.5) * (_GRID[1] - _GRID[0]) / 2
        depth = self.half * np.where(below[:, 0] | below[:, -1] | ~known, parabola, counted)
        width = self.half / depth / 2
        return Peaks(
            position=position,
            position_sigma=noise * self.half,
            position_model_sigma=FOCUS_MODEL_SIGMA * width**FOCUS_MODEL_POWER * depth,
            mtf50=mtf50,
            mtf50_sigma=mtf50_sigma,
            mtf50_model_sigma=PEAK_MODEL_SIGMA * width**PEAK_MODEL_POWER * mtf50,
            depth=depth,
            side=self._sides(lowest),
        )

    def _sides(self, lowest: NDArray) -> NDArray[np.int64]:
        """Which side each peak lies on, by the ends of the window at which the curve rises from its lowest."""
        rises = []
        for end in (-1.0, 1.0):
            basis = self._basis(np.full(len(lowest), end))
            sigma = np.sqrt(np.einsum("nj,njk,nk->n", basis, self.covariance, basis))
            rises.append((np.einsum("nk,nk->n", basis, self.terms) - lowest) / sigma > SIGNIFICANT_RISE)
        before, after = rises
        beyond_first = ~before & after & self.used[:, 0]
        beyond_last = before & ~after & self.used[:, -1]
        return np.select([before & after, beyond_first, beyond_last], [0, -1, 1], 2)

    def _derivative(self, t: NDArray, order: int) -> NDArray[np.float64]:
        return np.einsum("nk,nk->n", self._basis(t, order), self.terms)

    def _t(self, position: float | NDArray) -> NDArray[np.float64]:
        return (position - self.middle) / self.half

    @staticmethod
    def _basis(t: NDArray, order: int = 0) -> NDArray[np.float64]:
        """t^k, or its first or second derivative, shape (n, 5)."""
        factor = np.ones(5) if order == 0 else POWERS if order == 1 else POWERS * (POWERS - 1)
        return factor * t[:, None] ** np.maximum(POWERS - order, 0)


@dataclass(frozen=True, eq=False)
class Peaks:
    """Where n curves are sharpest, and how sharp they are there, shape (n,) each.

    Attributes
    ----------
    position, mtf50 : ndarray
    position_sigma, mtf50_sigma : ndarray
        Their standard deviations by noise, independent from curve to curve.
    position_model_sigma, mtf50_model_sigma : ndarray
        Their standard deviations by the model's error, common to all curves.
    depth : ndarray
        Distance from the peak at which MTF50 falls to `DEPTH_SHARE` of it.
    side : ndarray of int
        0 where the peak lies within the series, -1 or 1 where it lies beyond the first or the last shot, 2 where
        that is unknown.
    """

    position: NDArray[np.float64]
    position_sigma: NDArray[np.float64]
    position_model_sigma: NDArray[np.float64]
    mtf50: NDArray[np.float64]
    mtf50_sigma: NDArray[np.float64]
    mtf50_model_sigma: NDArray[np.float64]
    depth: NDArray[np.float64]
    side: NDArray[np.int64]
