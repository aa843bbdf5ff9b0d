"""What diffraction alone puts far from an edge: the tails of a perfect lens's edge that is as wide."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.analysers.edge import TAIL_STEPS
from lensbench.optics import gaussian_mtf, perfect_mtf

WIDTHS_PX = np.geomspace(0.5, 60.0, 40)
"""25-75 % distances for which tails are calculated; between them they are interpolated."""

WIDEST_SCALE_PX = 16.0
"""Wavelength times f-number, in pixels, up to which a diffraction-limited core is looked for."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(1200)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2

_NOTHING_BEYOND = 2.0
"""Cycles a pixel beyond which a pixel leaves next to nothing."""


SCALE_ERROR = 0.07
"""How far wavelength times f-number may be off, as a share (95 %): a colour's mean wavelength follows the light,
and apertures as marked are good to a twentieth or so (common practice)."""

DEFOCUS_EXCESS = 0.16
"""By how much more, as a share, diffraction puts far from a defocused edge than from one that a Gaussian blur
makes as wide (`tests.bench.glow_share`; GalSim: 0.11 to 0.17 from 0.1 to 0.8 waves) ..."""

DEFOCUSED_FROM = 1.3
"""... where the edge is so many times as wide as diffraction alone makes it; in between, in proportion."""


@dataclass(frozen=True, eq=False)
class DiffractionTails:
    """Tails of edges of `WIDTHS_PX`, by what is known of the aperture.

    Attributes
    ----------
    share : ndarray, shape (widths, len(TAIL_STEPS))
        Share of the light farther than `TAIL_STEPS` 25-75 % distances from the edge, on both sides together.
    less, more : ndarray, shape (widths, len(TAIL_STEPS))
        By how much less and more it may be (95 %).
    """

    share: NDArray[np.float64]
    less: NDArray[np.float64]
    more: NDArray[np.float64]

    def at(self, quartile_px: NDArray) -> DiffractionTails:
        """The tails of edges with some 25-75 % distances, shape (n,): a row each."""
        where = np.interp(np.log(quartile_px), np.log(WIDTHS_PX), np.arange(len(WIDTHS_PX)))
        below = np.minimum(where.astype(int), len(WIDTHS_PX) - 2)
        step = (where - below)[:, None]
        tables = self.share, self.less, self.more
        return DiffractionTails(*((1 - step) * table[below] + step * table[below + 1] for table in tables))


def diffraction_tails(scale_px: float) -> DiffractionTails:
    """Tails of a perfect lens behind a blur that makes its edges as wide as those measured.

    Parameters
    ----------
    scale_px : float
        Wavelength times effective f-number, in pixels.
    """
    share = np.array([_tails(scale_px, width) for width in WIDTHS_PX])
    perfect = 2 * _solved(lambda z: 0.5 - _within(scale_px, 0.0, z), 1e-3, WIDTHS_PX[-1])
    blurred = np.clip((WIDTHS_PX / perfect - 1) / (DEFOCUSED_FROM - 1), 0, 1)[:, None]
    more = np.hypot(SCALE_ERROR, blurred * DEFOCUS_EXCESS)
    return DiffractionTails(share, share * SCALE_ERROR, share * more)


def any_diffraction_tails() -> DiffractionTails:
    """Tails where the aperture isn't known: from none to those of the perfect lens whose edges are as wide."""
    half = np.array([_tails(_perfect_scale(width), width) for width in WIDTHS_PX]) / 2
    return DiffractionTails(half, half, half)


def _perfect_scale(width: float) -> float:
    """Wavelength times f-number, in pixels, of the perfect lens whose 25-75 % distance is `width`."""
    return _solved(lambda scale: _within(scale, 0.0, width / 2) - 0.5, 1e-3, WIDEST_SCALE_PX)


def _tails(scale_px: float, width: float) -> NDArray[np.float64]:
    """The tails of a perfect lens behind the Gaussian blur that makes the 25-75 % distance `width`."""
    blur = _solved(lambda blur: _within(scale_px, blur, width / 2) - 0.5, 0.0, width)
    return np.array([1 - _within(scale_px, blur, step * width) for step in TAIL_STEPS])


def _solved(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function is 0 between two limits, or the limit that is nearest to it."""
    if falling(low) <= 0:
        return low
    return high if falling(high) >= 0 else float(brentq(falling, low, high, xtol=1e-4))


def _within(scale_px: float, blur: float, distance: float) -> float:
    """Share of the light within a distance of the edge on both sides: ∫ MTF(f) sin(2πfz) / (πf) df, twice.

    The pixel is taken as a Gaussian blur of its own variance, since tails hardly depend on its shape.
    """
    highest = min(1 / max(scale_px, 1e-6), _NOTHING_BEYOND)
    frequency = highest * _NODES
    mtf = perfect_mtf(frequency, scale_px, 1.0) * gaussian_mtf(frequency, float(np.hypot(blur, np.sqrt(1 / 12))))
    return float(4 * highest * np.sum(_WEIGHTS * mtf * distance * np.sinc(2 * frequency * distance)))
