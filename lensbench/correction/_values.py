"""A recipe in numbers, for programs that are told by hand what to take out.

With q a place of the corrected picture less the centre, over the radius (both in pixels), and Q = |q|², each
colour is read at centre + radius · [q (k₀ + k₁ Q + k₂ Q² + k₃ Q³) + shift], and light is multiplied by 2 to the
power of s₁ Q + s₂ Q² + s₃ Q³ stops.
"""

from __future__ import annotations

import msgspec
import numpy as np
from numpy.typing import NDArray

from lensbench.correction._gains import Gains
from lensbench.correction._recipe import Recipe
from lensbench.correction._warp import Warp
from lensbench.frame import centre_of, half_diagonal

_POINTS = (91, 61)
_ORDERS = 4


class ColourScale(msgspec.Struct, frozen=True):
    """Where one colour is read against green: `factors` k₀ to k₃, `shift_px`, what these leave at most."""

    factors: list[float]
    shift_px: tuple[float, float]
    left_px: float


class LightStops(msgspec.Struct, frozen=True):
    """`stops` s₁ to s₃ by which light is lifted, about their own centre; what they leave at the worst place."""

    centre_px: tuple[float, float]
    stops: list[float]
    left_stops: float


class Bending(msgspec.Struct, frozen=True):
    """Where a place of the straightened picture is read: `factors` k₀ to k₃, about the centre of distortion."""

    centre_px: tuple[float, float]
    factors: list[float]
    left_px: float


class Values(msgspec.Struct, frozen=True):
    """A recipe in numbers; None for what is not taken out. `radius_px` is the frame's half-diagonal."""

    size_px: tuple[int, int]
    radius_px: float
    fringing_centre_px: tuple[float, float]
    red: ColourScale | None = None
    blue: ColourScale | None = None
    light: LightStops | None = None
    distortion: Bending | None = None
    shadows: int = 0


def values_of_recipe(recipe: Recipe) -> Values:
    """The numbers that follow a recipe most closely."""
    half = half_diagonal(recipe.size)
    x, y = np.meshgrid(*(np.linspace(0, n - 1, k) for n, k in zip(recipe.size, _POINTS, strict=True)))
    colour_only = Recipe(recipe.size, fringing=recipe.fringing)
    warp = Warp(colour_only, ("red", "green", "blue"))
    scales = {}
    for colour in recipe.fringing or {}:
        moved = sum(field.displacement(x, y, half) for field in (recipe.fringing or {})[colour])
        scales[colour] = _scale(x, y, np.asarray(moved), warp.centre, half)
    return Values(
        size_px=recipe.size,
        radius_px=half,
        fringing_centre_px=warp.centre,
        red=scales.get("red"),
        blue=scales.get("blue"),
        light=_light(recipe, x[0], y[:, 0], half),
        distortion=_bending(recipe, x, y, half),
        shadows=len(recipe.shadows),
    )


def _powers(x: NDArray, y: NDArray, centre: tuple[float, float], half: float) -> tuple[NDArray, NDArray]:
    """The places as q, shape (places, 2)) and Q to the power of 0 to 3 (shape (places, 4))."""
    q = np.stack([x.ravel() - centre[0], y.ravel() - centre[1]], axis=1) / half
    return q, ((q**2).sum(axis=1))[:, None] ** np.arange(_ORDERS)


def _scale(x: NDArray, y: NDArray, moved: NDArray, centre: tuple[float, float], half: float) -> ColourScale:
    q, powers = _powers(x, y, centre, half)
    radial = (q[:, :, None] * powers[:, None, :]).reshape(-1, _ORDERS)
    shift = np.tile(np.eye(2), (len(q), 1))
    basis, target = np.concatenate([radial, shift], axis=1), moved.reshape(-1) / half
    factors = np.linalg.lstsq(basis, target, rcond=None)[0]
    left = np.linalg.norm((basis @ factors - target).reshape(-1, 2), axis=1).max() * half
    k = factors[:_ORDERS] + np.eye(_ORDERS)[0]
    return ColourScale([float(v) for v in k], (float(factors[-2] * half), float(factors[-1] * half)), float(left))


def _light(recipe: Recipe, x: NDArray, y: NDArray, half: float) -> LightStops | None:
    """Of green's stops, or those of the only colour there is: the polynomial about the centre that fits best."""
    if recipe.light is None:
        return None
    from scipy.optimize import minimize

    stops = np.log2(Gains(recipe, ("green",)).smooth("green", x, y))
    grid_x, grid_y = np.meshgrid(x, y)

    def fitted(centre: NDArray) -> tuple[NDArray, NDArray]:
        _, powers = _powers(grid_x, grid_y, (float(centre[0]), float(centre[1])), half)
        factors = np.linalg.lstsq(powers, stops.ravel(), rcond=None)[0]
        return factors, powers @ factors - stops.ravel()

    start = np.array(centre_of(recipe.size))
    steps = start + np.array([[0, 0], [0.05, 0], [0, 0.05]]) * half
    options = {"initial_simplex": steps, "maxiter": 120}
    centre = minimize(lambda c: float((fitted(c)[1] ** 2).mean()), start, method="Nelder-Mead", options=options).x
    factors, off = fitted(centre)
    return LightStops(
        (float(centre[0]), float(centre[1])), [float(v) for v in factors[1:]], float(np.ptp(off) / 2)
    )


def _bending(recipe: Recipe, x: NDArray, y: NDArray, half: float) -> Bending | None:
    if recipe.distortion is None:
        return None
    warp = Warp(Recipe(recipe.size, distortion=recipe.distortion), ("green",))
    q, powers = _powers(x, y, warp.centre, half)
    read = np.stack([v.ravel() for v in warp.read_at("green", x, y)], axis=1)
    target = (read - np.array(warp.centre)).reshape(-1) / half
    basis = (q[:, :, None] * powers[:, None, :]).reshape(-1, _ORDERS)
    factors = np.linalg.lstsq(basis, target, rcond=None)[0]
    left = np.linalg.norm((basis @ factors - target).reshape(-1, 2), axis=1).max() * half
    return Bending(warp.centre, [float(v) for v in factors], float(left))
