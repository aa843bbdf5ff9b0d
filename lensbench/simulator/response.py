"""The response of the whole system at one position of the picture: pupil, other blur and pixel.

One object serves both the rendering (on the two frequency axes of a patch) and the truth (along an edge's
normal), so that what is rendered and what is said to be true are the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from lensbench.optics import gaussian_mtf, perfect_mtf
from lensbench.simulator import spline
from lensbench.simulator.pupil import Ratio

FINEST = 2.0
"""Frequencies up to this along an axis are rendered, cy/px."""


@dataclass(frozen=True)
class Surround:
    """What all positions of a channel have in common.

    `cutoff` is the clear pupil's (None without diffraction), `gaussian_px` an extra blur, `disc_px` the diameter
    of an even disc (of shadows), `motion_px` the shake, `fill` the width of the light-gathering square of a pixel.
    """

    cutoff: float | None
    gaussian_px: float = 0.0
    disc_px: float = 0.0
    motion_px: tuple[float, float] = (0.0, 0.0)
    fill: float = 1.0

    def at(self, fx: NDArray, fy: NDArray) -> NDArray[np.float64]:
        """Everything but the pixel."""
        frequency = np.hypot(fx, fy)
        value = np.ones_like(frequency)
        if self.gaussian_px > 0:
            value = gaussian_mtf(frequency, self.gaussian_px)
        if any(self.motion_px):
            value = value * np.sinc(fx * self.motion_px[0] + fy * self.motion_px[1])
        if self.disc_px > 0:
            phase = np.pi * self.disc_px * np.maximum(frequency, 1e-12)
            value = value * 2 * special.j1(phase) / phase
        if self.cutoff is not None:
            value = value * perfect_mtf(frequency / self.cutoff, 1.0, 1.0)
        return value

    def pixel(self, fx: NDArray, fy: NDArray) -> NDArray[np.float64]:
        """Transfer of the pixel's square."""
        return np.sinc(self.fill * fx) * np.sinc(self.fill * fy)


class Response:
    """The response at one position, for frequencies in cy/px (x right, y down).

    Parameters
    ----------
    surround : Surround
    ratio : Ratio or None
        From the pupil; None without diffraction.
    """

    def __init__(self, surround: Surround, ratio: Ratio | None) -> None:
        self.surround = surround
        self._ratio = None if ratio is None else (spline.coefficients(ratio.values), ratio.step)

    def along(self, fx: ArrayLike, fy: ArrayLike, pixel: bool = True) -> NDArray[np.complex128]:
        """At single frequencies, with the pixel or without it."""
        fx, fy = np.broadcast_arrays(np.asarray(fx, float), np.asarray(fy, float))
        value = self.surround.at(fx, fy).astype(np.complex128)
        if pixel:
            value *= self.surround.pixel(fx, fy)
        if self._ratio is not None:
            coefficients, step = self._ratio
            middle = len(coefficients) // 2
            value *= spline.at_places(coefficients, fy / step + middle, fx / step + middle)
        return np.where(np.maximum(np.abs(fx), np.abs(fy)) <= FINEST, value, 0)

    def ratio_on(self, fx: NDArray, fy: NDArray) -> NDArray[np.complex64] | np.float32:
        """The pupil's ratio on the grid of two axes, shape (len(fy), len(fx))."""
        if self._ratio is None:
            return np.float32(1)
        coefficients, step = self._ratio
        middle, count = len(coefficients) // 2, len(coefficients)
        across = spline.weights(fx / step + middle, count).astype(np.float32)
        down = spline.weights(fy / step + middle, count).astype(np.float32)
        return down @ (across @ coefficients.astype(np.complex64).T).T

    def envelope(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Frequencies up to the finest, and the largest response that any direction has there."""
        frequency = (np.arange(40) + 0.5) / 40 * FINEST
        way = np.arange(8)[:, None] * np.pi / 8
        return frequency, np.abs(self.along(frequency * np.cos(way), frequency * np.sin(way))).max(axis=0)


_NODES = (1 - np.cos(np.pi * (np.arange(6) + 0.5) / 6)) / 2
"""Chebyshev nodes: a polynomial through them follows the contrast within one step of the search."""

_SEARCH = np.concatenate([[0.0], np.geomspace(2e-3, 0.1, 40), np.linspace(0.1, FINEST, 96)[1:]])


def mtf50_along(response: Response, normals: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where the contrast across edges first falls to half.

    Parameters
    ----------
    response : Response
    normals : ndarray, shape (edges, 2)
        Unit vectors.

    Returns
    -------
    whole, lens : ndarray, shape (edges,)
        With the pixel and without it, cy/px; NaN where contrast stays above half up to the finest frequency.
    """

    def contrast(frequency: NDArray) -> tuple[NDArray, NDArray]:
        fx, fy = np.moveaxis(frequency[..., None] * normals[:, None], -1, 0)
        lens = np.abs(response.along(fx, fy, pixel=False))
        return lens * np.abs(response.surround.pixel(fx, fy)), lens

    def half(which: int) -> NDArray:
        below = found[which] < 0.5
        first = np.argmax(below, axis=1)
        low, high = _SEARCH[np.maximum(first - 1, 0)], _SEARCH[first]
        inner = contrast(low[:, None] + (high - low)[:, None] * _NODES)[which]
        return np.where(below.any(axis=1), low + (high - low) * _crossing(inner - 0.5), np.nan)

    found = contrast(np.broadcast_to(_SEARCH, (len(normals), len(_SEARCH))))
    return half(0), half(1)


def _crossing(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where polynomials through values at the nodes, shape (n, nodes), cross zero between 0 and 1."""
    terms = np.linalg.solve(np.vander(_NODES, increasing=True), values.T)
    powers = np.arange(len(terms))
    place = np.full(len(values), 0.5)
    for _ in range(8):
        power = place ** powers[:, None]
        slope = np.sum(terms[1:] * powers[1:, None] * power[:-1], axis=0)
        place = np.clip(place - np.sum(terms * power, axis=0) / np.where(slope < 0, slope, -np.inf), 0, 1)
    return place


def half_crossing_px(response: Response, normals: NDArray) -> NDArray[np.float64]:
    """How far along each normal the profile of an edge crosses half from where the edge is, in px.

    The profile is 1/2 + ∫ |H| sin(2πνt + arg H) / (πν) dν over ν > 0, H the response along the normal.
    """
    width = 1 / 256
    frequency = (np.arange(int(FINEST / width)) + 0.5) * width
    f = frequency[:, None] * normals[:, None]
    h = response.along(f[..., 0], f[..., 1])
    seen = np.flatnonzero(np.abs(h).max(axis=0) > 1e-6)[-1] + 1
    frequency, h = frequency[:seen], h[:, :seen]
    place = -np.angle(h[:, 0]) / (2 * np.pi * frequency[0])
    for _ in range(6):
        turned = h * np.exp(2j * np.pi * frequency * place[:, None])
        over = np.sum(turned.imag / (np.pi * frequency), axis=1) * width
        slope = 2 * np.sum(turned.real, axis=1) * width
        place = place - over / slope
    return place
