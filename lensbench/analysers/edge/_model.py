"""What a fit of edges adjusts: their profiles, their lines, the light's gradient across them, the noise."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._curves import CORE, EdgeProfiles


@dataclass(frozen=True, eq=False)
class Segments:
    """What is given of n edges before their fit.

    Attributes
    ----------
    middle, half : ndarray, shape (n,)
        Of the used length: its middle along the nominal line, and half of it, in pixels. τ is -1 to 1 over it.
    dark : ndarray, shape (n,)
        Light on the dark side, in contrasts.
    gradient_precision : ndarray, shape (n, 2, 2)
        Inverse covariance of what was left of the light's gradient and curvature across the edge.
    """

    middle: NDArray[np.float64]
    half: NDArray[np.float64]
    dark: NDArray[np.float64]
    gradient_precision: NDArray[np.float64]


class Tables(NamedTuple):
    """Profiles by bin, shape (n, BINS): light, and its derivatives by cell and by pixel."""

    level: NDArray[np.float64]
    rise: NDArray[np.float64]
    slope: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class EdgeModel(EdgeProfiles):
    """Profiles and lines of n edges.

    A line is d = (u - p0 - p1 τ - p2 (τ² - 1/3)) / √(1 + slope²), so p0 is its mean offset, p1 its turn and p2 its
    curvature. Light is in shares of the contrast: about 0 on the dark side and 1 on the bright.

    Attributes
    ----------
    segments : Segments
        What is given.
    line : ndarray, shape (n, 3)
        p0, p1, p2 in pixels.
    gradient : ndarray, shape (n, 2)
        First and second derivative by pixels, along the normal, of the light that was left in the samples.
    variance : ndarray, shape (n, BINS)
        Of one sample, by bin.
    """

    segments: Segments
    line: NDArray[np.float64]
    gradient: NDArray[np.float64]
    variance: NDArray[np.float64]

    def position(self) -> NDArray[np.float64]:
        """Where the profile crosses half, averaged along the edge: pixels along the nominal normal, shape (n,)."""
        return self.line[:, 0] + self.half_crossing()

    @cached_property
    def tables(self) -> Tables:
        """The light that is expected in each bin."""
        level, rise = profile.levels(self.coefficients), profile.rises(self.coefficients)
        level = level + (self.gradient[..., None] * self.by_gradient(level)).sum(axis=1)
        return Tables(level, rise, rise * profile.cells_a_distance(profile.bin_places()))

    def by_gradient(self, level: NDArray) -> NDArray[np.float64]:
        """What a unit of each part of `gradient` adds to the light, by bin: shape (n, 2, BINS)."""
        light, u = level + self.segments.dark[:, None], profile.bin_places()
        return np.stack([light * u, light * u**2 / 2], axis=1)

    def side(self) -> NDArray[np.int64]:
        """-1 in bins far on the dark side, 1 far on the bright, 0 between, where the slope tells of the line."""
        z = profile.bin_places()
        return np.where(np.abs(z) < CORE * self.blur[:, None], 0, np.sign(z)).astype(np.int64)

    def slope_weight(self, slope: NDArray) -> NDArray[np.float64]:
        """Slope over variance in the core's bins, 0 in the others: what a residual there tells of the line."""
        return np.where(self.side() == 0, slope / self.variance, 0)
