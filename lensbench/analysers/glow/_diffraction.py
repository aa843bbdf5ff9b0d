"""What diffraction alone puts far from an edge: the tails of a perfect lens's edge that is as wide."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.analysers.edge import TAIL_STEPS
from lensbench.optics import defocused_mtf, gaussian_mtf, perfect_mtf

WIDTHS_PX = np.geomspace(0.5, 60.0, 40)
"""25-75 % distances for which tails are calculated, as far as edges have them; between, they are interpolated."""

WIDEST_SCALE_PX = 16.0
"""Wavelength times f-number, in pixels, up to which a diffraction-limited core is looked for."""

SCALE_ERROR = 0.07
"""How far wavelength times f-number may be off, as a share (95 %): a colour's mean wavelength follows the light,
and apertures as marked are good to a twentieth or so (common practice)."""

FARTHEST_PX = 100.0
"""What defocus adds is not asked for farther out: the common reach is nearer, and there it has faded."""

_NOTHING_BEYOND = 2.0
"""Cycles a pixel beyond which a pixel leaves next to nothing."""

_PIXEL_BLUR = float(np.sqrt(1 / 12))
"""Standard deviation, in pixels, of the Gaussian that stands for a pixel: tails hardly depend on its shape."""

WIDEST_DISC = 4.0
"""The disc of a lens out of focus, in 25-75 % distances of its edge, is less wide: 2.5 where it is wide beside
diffraction and pixel (the closed form of a disc's edge)."""


@dataclass(frozen=True, eq=False)
class DiffractionTails:
    """Tails of edges of some widths, by what is known of the aperture.

    Attributes
    ----------
    width_px : ndarray, shape (widths,)
        The edges' 25-75 % distances.
    share : ndarray, shape (widths, len(TAIL_STEPS))
        Share of the light farther than `TAIL_STEPS` such distances from the edge, on both sides together.
    off : float
        By what share of themselves they may all be off (95 %).
    less, more : ndarray, shape (widths, len(TAIL_STEPS))
        By how much less and more there is at most, besides, since it isn't known what blurs the edge, or not what
        the aperture is: lenses of one kind are all at one end.
    """

    width_px: NDArray[np.float64]
    share: NDArray[np.float64]
    off: float
    less: NDArray[np.float64]
    more: NDArray[np.float64]

    def at(self, quartile_px: NDArray) -> DiffractionTails:
        """The tails of edges with some 25-75 % distances, shape (n,): a row each."""
        where = np.interp(np.log(quartile_px), np.log(self.width_px), np.arange(len(self.width_px)))
        below = np.minimum(where.astype(int), len(self.width_px) - 2)
        step = (where - below)[:, None]
        share, less, more = (
            (1 - step) * table[below] + step * table[below + 1] for table in (self.share, self.less, self.more)
        )
        return DiffractionTails(quartile_px, share, self.off, less, more)


def diffraction_tails(scale_px: float, narrowest: float, widest: float) -> DiffractionTails:
    """Tails of a perfect lens behind a blur that makes its edges as wide as those measured.

    The blur is taken for a Gaussian. Defocus that makes them as wide puts more light just beyond them.

    Parameters
    ----------
    scale_px : float
        Wavelength times effective f-number, in pixels.
    narrowest, widest : float
        25-75 % distances, in pixels, that all edges lie between.
    """
    width = _widths_about(narrowest, widest)
    share = np.array([_tails(scale_px, each) for each in width])
    defocused = np.array([_defocused_tails(scale_px, each) for each in width])
    more = np.where(TAIL_STEPS * width[:, None] < FARTHEST_PX, np.maximum(defocused - share, 0), 0)
    return DiffractionTails(width, share, SCALE_ERROR, np.zeros_like(share), more)


def any_diffraction_tails(narrowest: float, widest: float) -> DiffractionTails:
    """Tails where the aperture isn't known: from none to those of the perfect lens whose edges are as wide."""
    width = _widths_about(narrowest, widest)
    half = np.array([_tails(_perfect_scale(each), each) for each in width]) / 2
    return DiffractionTails(width, half, 0.0, half, half)


def _widths_about(narrowest: float, widest: float) -> NDArray[np.float64]:
    """Those of `WIDTHS_PX` that some widths lie between."""
    first, last = np.searchsorted(WIDTHS_PX, [narrowest, widest])
    first = int(np.clip(first - 1, 0, len(WIDTHS_PX) - 2))
    return WIDTHS_PX[first : max(int(last) + 1, first + 2)]


def _perfect_scale(width: float) -> float:
    """Wavelength times f-number, in pixels, of the perfect lens whose 25-75 % distance is `width`."""
    return _solved(lambda scale: _blurred(scale, 0.0, _NODES_NEAR).within(width / 2) - 0.5, 1e-3, WIDEST_SCALE_PX)


def _tails(scale_px: float, width: float) -> NDArray[np.float64]:
    """The tails of a perfect lens behind the Gaussian blur that makes the 25-75 % distance `width`."""
    blur = _solved(lambda blur: _blurred(scale_px, blur, _NODES_NEAR).within(width / 2) - 0.5, 0.0, width)
    return _blurred(scale_px, blur, _NODES_FAR).tails(width)


def _defocused_tails(scale_px: float, width: float) -> NDArray[np.float64]:
    """The tails of a perfect lens so far out of focus that the 25-75 % distance is `width`."""
    disc = _solved(
        lambda disc: _defocused(scale_px, disc, _NODES_NEAR).within(width / 2) - 0.5, 0.0, WIDEST_DISC * width
    )
    return _defocused(scale_px, disc, _NODES_FAR).tails(width)


def _solved(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function is 0 between two limits, or the limit that is nearest to it."""
    if falling(low) <= 0:
        return low
    return high if falling(high) >= 0 else float(brentq(falling, low, high, xtol=1e-4))


class _Transfer(NamedTuple):
    """A transfer function at frequencies (cycles a pixel), times their weights in an integral."""

    frequency: NDArray[np.float64]
    weighted: NDArray[np.float64]

    def within(self, distance: float) -> float:
        """Share of the light within a distance of the edge on both sides: ∫ MTF(f) sin(2πfz) / (πf) df, twice."""
        return float(4 * distance * (self.weighted @ np.sinc(2 * distance * self.frequency)))

    def tails(self, width: float) -> NDArray[np.float64]:
        """Share of the light beyond `TAIL_STEPS` widths."""
        return np.array([1 - self.within(step * width) for step in TAIL_STEPS])


_NODES_NEAR, _NODES_FAR = 200, 1200
"""Frequencies to integrate over: enough for the waves of an edge's own width, and of its far tails."""


def _blurred(scale_px: float, blur_px: float, nodes: int) -> _Transfer:
    """A perfect lens, a Gaussian blur, a pixel."""
    frequency, weight = _frequencies(scale_px, nodes)
    mtf = perfect_mtf(frequency, scale_px, 1.0) * gaussian_mtf(frequency, float(np.hypot(blur_px, _PIXEL_BLUR)))
    return _Transfer(frequency, weight * mtf)


def _defocused(scale_px: float, disc_px: float, nodes: int) -> _Transfer:
    """A perfect lens out of focus by so much that its cone of light is a disc of this diameter, a pixel."""
    frequency, weight = _frequencies(scale_px, nodes)
    # At f/1, with lengths in pixels, the cone is as wide as the sensor is off the focus.
    mtf = defocused_mtf(frequency, scale_px, 1.0, disc_px) * gaussian_mtf(frequency, _PIXEL_BLUR)
    return _Transfer(frequency, weight * mtf)


def _frequencies(scale_px: float, nodes: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies up to where a lens or the pixel leaves nothing, and their weights in an integral."""
    highest = min(1 / max(scale_px, 1e-6), _NOTHING_BEYOND)
    place, weight = _legendre(nodes)
    return highest * (place + 1) / 2, highest * weight / 2


@lru_cache(maxsize=2)
def _legendre(nodes: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return np.polynomial.legendre.leggauss(nodes)
