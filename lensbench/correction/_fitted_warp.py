"""A warp as the terms of DNG's WarpRectilinear, and what these can't follow.

A place's distance from the centre is counted in that of the farthest corner. With Δ that, and r its length, a
plane is read at Δ (k₀ + k₁ r² + k₂ r⁴ + …) + tangential terms of two factors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from lensbench.correction._opcodes import warp_rectilinear, warp_rectilinear_2
from lensbench.correction._warp import Warp

PLANES = ("red", "green", "blue")

_POINTS = (61, 41)

_ENOUGH_PX = 0.03
"""A warp that the older opcode follows as closely as this needs no newer one."""

_TERMS, _TERMS_2 = 4, 8
"""Radial terms, of even powers from the zeroth on: of WarpRectilinear, and those used of WarpRectilinear2."""


@dataclass(frozen=True, eq=False)
class FittedWarp:
    """Terms of one opcode for all colours.

    Attributes
    ----------
    centre : (float, float)
        Across and down, over the frame's width and height.
    radial : ndarray, shape (planes, 4 or 8)
    tangential : ndarray, shape (planes, 2)
    left_px : float
        How far off the worst place of the frame stays, over all colours.
    fringing_left_px : float
        How far from green red or blue stay at the worst place.
    """

    centre: tuple[float, float]
    radial: NDArray[np.float64]
    tangential: NDArray[np.float64]
    left_px: float
    fringing_left_px: float

    @property
    def newer(self) -> bool:
        """Whether it takes WarpRectilinear2, of version 1.6 of the standard."""
        return self.radial.shape[1] > _TERMS

    def opcode(self) -> bytes:
        """The opcode's bytes."""
        write = warp_rectilinear_2 if self.newer else warp_rectilinear
        return write(self.radial, self.tangential, self.centre)


def fit_warp(warp: Warp) -> FittedWarp:
    """The terms that follow a warp most closely: by the older opcode, or by the newer one where that is needed."""
    fitted = _fit(warp, _TERMS)
    if fitted.left_px <= _ENOUGH_PX:
        return fitted
    newer = _fit(warp, _TERMS_2)
    return newer if newer.left_px < fitted.left_px / 2 else fitted


def _fit(warp: Warp, terms: int) -> FittedWarp:
    size = np.array(warp.recipe.size, dtype=float)
    colours = PLANES if len(warp.colours) > 1 else warp.colours
    places = np.stack(
        np.meshgrid(*(np.linspace(0, n - 1, k) for n, k in zip(size, _POINTS, strict=True))), axis=-1
    )
    places = places.reshape(-1, 2)
    wanted = np.stack([np.stack(warp.read_at(c, *places.T), axis=-1) for c in colours])

    def solved(centre: NDArray) -> tuple[NDArray, NDArray]:
        basis = _basis(places, centre, size, terms)
        target = (wanted - centre).reshape(len(colours), -1).T
        factors = np.linalg.lstsq(basis, target, rcond=None)[0]
        return factors, (basis @ factors - target).T.reshape(wanted.shape)

    def misfit(centre: NDArray) -> float:
        # The standard allows no centre outside of the frame.
        inside = np.clip(centre, 0, size)
        return float((solved(inside)[1] ** 2).mean() + ((centre - inside) ** 2).sum())

    start = np.array(warp.centre)
    spread = start + np.array([[0, 0], [0.02, 0], [0, 0.02]]) * size.max()
    found = minimize(misfit, start, method="Nelder-Mead", options={"initial_simplex": spread, "maxiter": 150})
    # The measured centre stays unless another follows the warp much better.
    centre = np.clip(found.x, 0, size) if found.fun < misfit(start) / 2 else np.clip(start, 0, size)
    factors, off = solved(centre)
    apart = off - off[colours.index("green")] if "green" in colours else off * 0
    return FittedWarp(
        centre=(float(centre[0] / size[0]), float(centre[1] / size[1])),
        radial=factors[:terms].T,
        tangential=factors[terms:].T,
        left_px=float(np.linalg.norm(off, axis=-1).max()),
        fringing_left_px=float(np.linalg.norm(apart, axis=-1).max()),
    )


def _basis(places: NDArray, centre: NDArray, size: NDArray, terms: int) -> NDArray:
    """What each factor moves, in pixels from the centre: shape (places × 2, factors)."""
    farthest = float(np.linalg.norm(np.maximum(centre, size - centre)))
    x, y = ((places - centre) / farthest).T
    square = x**2 + y**2
    radial = [np.stack([x, y]) * square**n for n in range(terms)]
    tangential = [np.stack([2 * x * y, square + 2 * y**2]), np.stack([square + 2 * x**2, 2 * x * y])]
    return farthest * np.stack([*radial, *tangential], axis=-1).transpose(1, 0, 2).reshape(-1, terms + 2)
