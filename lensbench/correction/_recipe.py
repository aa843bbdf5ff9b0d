"""What is taken out of a picture, as plain data: smooth light, shadows of dirt, lateral colour, distortion.

Places are pixels of the full frame as stored; q is a place less a centre over the half-diagonal, as in reports.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RectBivariateSpline
from scipy.spatial import cKDTree

from lensbench.frame import centre_of, half_diagonal

SHADOW_STEEPNESS = 3.0
"""How a shadow of dirt fades: exp(-ln 2 (2 distance / width)^steepness).

A Gaussian has 2, larger ones have a flatter middle; a report doesn't say which a mark has. By
tests/bench/correction.py this one leaves the least over all: a twentieth to a half of spots at f/8 and f/16.
"""


@dataclass(frozen=True, eq=False)
class SmoothLight:
    """Falloff and colour cast in stops, 0 in the middle of the frame.

    Attributes
    ----------
    x, y : ndarray
        The grid's places in pixels.
    stops : ndarray, shape (y, x)
        By how much green lies below the middle.
    cast : dict of str to ndarray
        By how much more red and blue do: coefficients of `cast_terms`.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    stops: NDArray[np.float64]
    cast: dict[str, NDArray[np.float64]]

    def stops_at(self, colour: str, x: NDArray, y: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
        """Stops below the middle at every crossing of rising x and rising y, shape (y, x)."""
        stops = RectBivariateSpline(self.y, self.x, self.stops)(y, x)
        if colour in self.cast:
            terms = cast_terms(x[None, :], y[:, None], size)
            stops += np.tensordot(self.cast[colour], terms, axes=1)
        return stops


def cast_terms(x: ArrayLike, y: ArrayLike, size: tuple[int, int]) -> NDArray[np.float64]:
    """The smooth shapes of which a colour cast is made, all 0 at the frame's centre: shape (terms, ...)."""
    centre, half = centre_of(size), half_diagonal(size)
    u, v = np.broadcast_arrays((np.asarray(x) - centre[0]) / half, (np.asarray(y) - centre[1]) / half)
    square = u**2 + v**2
    return np.stack([u, v, square, square**2, u**2 - v**2, u * v])


@dataclass(frozen=True, eq=False)
class Shadow:
    """The shadow of one mark of dirt on the sensor.

    Attributes
    ----------
    path : ndarray, shape (points, 2)
        A fibre's middle line; a single point for round marks.
    width_px : float
        Across, where it is half as deep as in its middle.
    depth : float
        Part of the light that is missing in its middle.
    """

    path: NDArray[np.float64]
    width_px: float
    depth: float

    def box(self, size: tuple[int, int]) -> tuple[int, int, int, int]:
        """Left, top, right, bottom (past the end) of what it darkens, cut at the frame's border."""
        reach = 1.2 * self.width_px
        low = np.maximum(np.floor(self.path.min(axis=0) - reach), 0).astype(int)
        high = np.minimum(np.ceil(self.path.max(axis=0) + reach) + 1, size).astype(int)
        return int(low[0]), int(low[1]), int(high[0]), int(high[1])

    def light_at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """The part of the light that is left at every crossing of x and y, shape (y, x)."""
        places = np.stack(np.meshgrid(x, y), axis=-1)
        distance, _ = cKDTree(_filled_in(self.path)).query(places.reshape(-1, 2))
        fade = np.exp(-np.log(2) * (2 * distance.reshape(places.shape[:2]) / self.width_px) ** SHADOW_STEEPNESS)
        return 1 - self.depth * fade


def _filled_in(path: NDArray) -> NDArray:
    """A line's points with others between them, one a pixel or closer."""
    if len(path) < 2:
        return path
    parts = [np.linspace(a, b, int(np.hypot(*(b - a))) + 2) for a, b in pairwise(path)]
    return np.concatenate(parts)


@dataclass(frozen=True, eq=False)
class ColourField:
    """One colour's displacement against green, weighted: s + q (r₁ + r₂ Q + r₃ Q²) + Q d + 2 (q·d) q, Q = |q|²."""

    about: tuple[float, float]
    shift: NDArray[np.float64]
    radial: NDArray[np.float64]
    decentring: NDArray[np.float64]
    weight: float = 1.0

    def displacement(self, x: NDArray, y: NDArray, half: float) -> NDArray[np.float64]:
        """(dx, dy) in pixels at places in green's picture, shape (..., 2)."""
        q = np.stack([np.asarray(x) - self.about[0], np.asarray(y) - self.about[1]], axis=-1) / half
        square = (q**2).sum(axis=-1, keepdims=True)
        r, d = self.radial, self.decentring
        return self.weight * (
            self.shift + q * (r[0] + square * (r[1] + square * r[2])) + square * d + 2 * (q @ d)[..., None] * q
        )


@dataclass(frozen=True, eq=False)
class RadialDistortion:
    """A lens without distortion would put the point at q to q (1 + t₁ Q + t₂ Q² + …), Q = |q|²."""

    about: tuple[float, float]
    terms: NDArray[np.float64]

    def drawn_at(self, radius: NDArray, farthest: float) -> NDArray[np.float64]:
        """Where the lens draws what belongs at a distance from the centre, both in half-diagonals.

        Parameters
        ----------
        radius : ndarray
        farthest : float
            The distance up to which the lens' own picture reaches; what belongs farther out goes on as a straight
            line from there.
        """
        drawn = np.linspace(0, farthest, 4001)
        ideal = drawn * np.polynomial.polynomial.polyval(drawn**2, [1.0, *self.terms])
        slope = np.gradient(ideal, drawn)
        if (slope <= 0).any():
            # Past its turning point the measured curve says nothing.
            end = max(int(np.argmax(slope <= 0)), 2)
            drawn, ideal = drawn[:end], ideal[:end]
        inside = np.interp(radius, ideal, drawn)
        beyond = (drawn[-1] - drawn[-2]) / (ideal[-1] - ideal[-2])
        return np.where(radius > ideal[-1], drawn[-1] + (radius - ideal[-1]) * beyond, inside)


@dataclass(frozen=True, eq=False)
class Recipe:
    """All that is taken out of one picture; what was not measured or not asked for is None or empty.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    light : SmoothLight or None
    shadows : sequence of Shadow
    fringing : dict of str to sequence of ColourField
        By colour; their sum is its displacement.
    distortion : RadialDistortion or None
    """

    size: tuple[int, int]
    light: SmoothLight | None = None
    shadows: Sequence[Shadow] = ()
    fringing: dict[str, list[ColourField]] | None = None
    distortion: RadialDistortion | None = None
