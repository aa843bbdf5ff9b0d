"""The pupil: wavefront error over the iris at one position of the field, and the response that follows.

The response of incoherent light is the pupil function's correlation with itself. It is kept as a ratio to the
closed form of a clear round pupil: the closed form holds the kink at frequency zero (the far skirts of the
diffraction rings), and the ratio is smooth, so a modest grid holds it.

References
----------
Goodman, Introduction to Fourier Optics, ch. 6 (from memory). Hopkins' wavefront coefficients: Welford, Aberrations
of Optical Systems, ch. 8 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from lensbench.simulator.lens import Lens, turned

SHARPEST_PX = 4.0
"""Blur is never taken for narrower than this when the grid's step is chosen."""


@dataclass(frozen=True, eq=False)
class FieldPoint:
    """One place in the picture, for one colour of light.

    `field` is the lens' H there as a vector, `defocus_mm` how far the sensor lies beyond this colour's focus,
    `shift_px` where this light lands against the channel's own position.
    """

    field: NDArray[np.float64]
    defocus_mm: float
    wavelength_um: float
    weight: float = 1.0
    shift_px: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Iris:
    """How far the iris is closed: marked and effective f-number, the lens' turn in its mount."""

    f_number: float
    effective: float
    lens_turn_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class Ratio:
    """The response over that of a clear round pupil, on a grid of frequencies about zero.

    `values` has shape (n, n), n odd, frequency zero in the middle, `step` cy/px apart; `cutoff` is that of the
    clear pupil.
    """

    values: NDArray[np.complex128]
    step: float
    cutoff: float


def wavefront_um(lens: Lens, iris: Iris, point: FieldPoint, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Path error at positions of the pupil, in units of the iris' radius (the picture's x right, y down).

    A ray through (x, y) lands 2 N_eff times the error's gradient away from the chief ray's position.
    """
    opened = lens.open_f_number / iris.f_number
    u, v = x * opened, y * opened
    squared = u**2 + v**2
    h = point.field
    along = u * h[0] + v * h[1]
    axial = turned(lens.axial_coma_um, iris.lens_turn_deg)
    error = lens.spherical_um * (squared**2 - squared)
    error += squared * (lens.coma_um * along + axial[0] * u + axial[1] * v)
    error += lens.astigmatism_um * along**2 + lens.curvature_um * (h @ h) * squared
    # A sensor δ beyond the focus sees δ / (8 N²) of path at the pupil's rim.
    return error + 1000 * point.defocus_mm / (8 * iris.effective**2) * (x**2 + y**2)


def blur_radius_px(lens: Lens, iris: Iris, point: FieldPoint, pitch_mm: float) -> float:
    """How far from the chief ray's position the outermost ray lands."""
    axis = np.linspace(-1, 1, 25)
    x, y = np.meshgrid(axis, axis)
    down, across = np.gradient(wavefront_um(lens, iris, point, x, y), axis, axis)
    inside = x**2 + y**2 <= 1
    return float(2 * iris.effective * np.hypot(down, across)[inside].max() / (1000 * pitch_mm))


def response_ratio(lens: Lens, iris: Iris, points: list[FieldPoint], pitch_mm: float, band: float) -> Ratio:
    """The response at one position of the picture, its light summed up.

    Parameters
    ----------
    lens, iris : Lens, Iris
    points : list of FieldPoint
        One for each wavelength.
    pitch_mm : float
        Distance of pixels.
    band : float
        Highest frequency along an axis that is wanted, cy/px.
    """
    cutoffs = [1000 * pitch_mm / (p.wavelength_um * iris.effective) for p in points]
    cutoff = max(cutoffs)
    reach = max(blur_radius_px(lens, iris, p, pitch_mm) + np.hypot(*p.shift_px) for p in points)
    # Powers of √2, so that the clear pupil's own correlation is computed only a few times.
    step = 2.0 ** (np.floor(2 * np.log2(1 / (8 * max(reach, SHARPEST_PX)))) / 2)
    step = min(step, cutoff / 64)
    keep = int(np.ceil(min(band, cutoff) / step)) + 4
    total = sum(
        p.weight * _shifted(_correlation(_pupil(lens, iris, p, c, step), c / 2 / step, keep), p.shift_px, step)
        for p, c in zip(points, cutoffs, strict=True)
    )
    clear = _clear_correlation(round(cutoff / step, 9), keep)
    ratio = np.divide(total, clear, out=np.zeros_like(total), where=clear > 1e-5)
    return Ratio(ratio / ratio[keep, keep].real, step, cutoff)


def _pupil(lens: Lens, iris: Iris, point: FieldPoint, cutoff: float, step: float) -> NDArray[np.complex128]:
    """The pupil function on frequencies; light that reaches the sensor adds up to one for a clear iris."""
    radius = cutoff / 2 / step
    half = int(np.ceil(radius)) + 1
    axis = np.arange(-half, half + 1) / radius
    x, y = np.meshgrid(axis, axis)
    amplitude = _soft(1 - np.hypot(x, y), radius)
    if lens.rim is not None:
        opened = lens.open_f_number / iris.f_number
        away = np.hypot(x * opened + lens.rim.walk * point.field[0], y * opened + lens.rim.walk * point.field[1])
        amplitude = amplitude * _soft((lens.rim.radius - away) / opened, radius)
    waves = wavefront_um(lens, iris, point, x, y) / point.wavelength_um
    return amplitude * np.exp(-2j * np.pi * waves) / radius


def _soft(inside: NDArray, radius: float) -> NDArray:
    """1 within, 0 without, sloping over one step of the grid."""
    return np.clip(inside * radius + 0.5, 0, 1)


def _correlation(pupil: NDArray, radius: float, keep: int) -> NDArray[np.complex128]:
    """A pupil's correlation with itself, for shifts up to `keep` steps; its rim would be at `radius` steps."""
    size = fft.next_fast_len(max(len(pupil) + keep + 1, 2 * keep + 1))
    spectrum = fft.fft2(pupil, (size, size))
    whole = fft.ifft2(spectrum.real**2 + spectrum.imag**2)
    # Squares of the soft rim's values are less than its area: the kink of the correlation at shift zero is blunt.
    whole[0, 0] = np.abs(pupil).sum() / radius
    order = np.arange(-keep, keep + 1)
    return whole[np.ix_(order, order)]


@lru_cache(maxsize=32)
def _clear_correlation(diameter: float, keep: int) -> NDArray[np.float64]:
    """The same of a clear round pupil."""
    radius = diameter / 2
    half = int(np.ceil(radius)) + 1
    axis = np.arange(-half, half + 1) / radius
    return _correlation(_soft(1 - np.hypot(*np.meshgrid(axis, axis)), radius) / radius, radius, keep).real


def _shifted(response: NDArray, shift_px: tuple[float, float], step: float) -> NDArray[np.complex128]:
    """The response of a blur moved by some pixels."""
    if not any(shift_px):
        return response
    axis = (np.arange(len(response)) - len(response) // 2) * step
    return response * np.exp(-2j * np.pi * (axis[:, None] * shift_px[1] + axis * shift_px[0]))
