"""Handbook formulas of optics, nothing else. Angles in degrees, lengths as each function says.

References
----------
.. [1] J. W. Goodman, Introduction to Fourier Optics, ch. 6 (incoherent transfer function of a round pupil).
.. [2] W. J. Smith, Modern Optical Engineering (cos⁴ law, depth of focus, pupils).
.. [3] H. H. Hopkins, The frequency response of a defocused optical system, Proc. R. Soc. A 231 (1955).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

PERFECT_MTF50 = 0.40397
"""Where a perfect lens with a round pupil falls to half, as a fraction of its cut-off frequency."""

GREEN_NM = 550.0
"""The wavelength that stands for green light, the middle of the eye's response."""

CHANNEL_NM = {"red": 610.0, "green": 540.0, "blue": 460.0, "grey": GREEN_NM}
"""The wavelength that stands for each of a camera's colours: the middle of its filter (common practice)."""


def channel_um(channel: str) -> float:
    """The wavelength that stands for a camera's colour, in micrometres; green light's for any other channel."""
    return CHANNEL_NM.get(channel, GREEN_NM) / 1000


def perfect_mtf(frequency: ArrayLike, wavelength: float, f_number: float) -> NDArray:
    """MTF of a perfect lens with a round pupil in incoherent light [1]_.

    Parameters
    ----------
    frequency : array_like
        Spatial frequency, in cycles per the unit of `wavelength`.
    wavelength : float
        Wavelength, in any unit of length.
    f_number : float
        Effective f-number on the side of the sensor.
    """
    u = np.clip(np.abs(np.asarray(frequency, float)) * wavelength * f_number, 0, 1)
    return 2 / np.pi * (np.arccos(u) - u * np.sqrt(1 - u * u))


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


def defocused_mtf(frequency: ArrayLike, wavelength: float, f_number: float, defocus: ArrayLike) -> NDArray:
    """Transfer of a perfect lens out of focus in incoherent light [3]_; negative where contrast reverses.

    Parameters
    ----------
    frequency : array_like
        Spatial frequency, in cycles per the unit of `wavelength`.
    wavelength : float
        Wavelength, in any unit of length.
    f_number : float
        Effective f-number on the side of the sensor.
    defocus : array_like
        How far the sensor lies from the focus, in the unit of `wavelength`; goes with the frequency.
    """
    u = np.clip(np.abs(np.asarray(frequency, float)) * wavelength * f_number, 0, 1)
    # The path error at the pupil's rim is δ / (8 N²); the phase grows with it and with the pupil's shift 2 u.
    phase = np.pi * np.asarray(defocus, float) / (wavelength * f_number**2) * u
    reach = np.sqrt(1 - u * u)
    y = reach[..., None] * _NODES
    half = np.maximum(np.sqrt(1 - y * y) - u[..., None], 0)
    inner = half * np.sinc(phase[..., None] * half / np.pi)
    return 4 / np.pi * reach * (inner @ _WEIGHTS)


def pixel_mtf(frequency: ArrayLike, normal_x: ArrayLike, normal_y: ArrayLike) -> NDArray:
    """Transfer of a square pixel of full fill along the direction (normal_x, normal_y), a unit vector.

    The frequency is in cycles a pixel. The sign is kept: beyond its first zero the pixel reverses contrast.
    """
    frequency = np.asarray(frequency, float)
    return np.sinc(frequency * normal_x) * np.sinc(frequency * normal_y)


def gaussian_mtf(frequency: ArrayLike, sigma: float) -> NDArray:
    """MTF of a Gaussian blur of standard deviation `sigma`; frequency in cycles per the unit of sigma."""
    return np.exp(-2 * (np.pi * sigma * np.asarray(frequency, float)) ** 2)


def gaussian_mtf50(sigma: ArrayLike) -> NDArray:
    """The frequency where a Gaussian blur of standard deviation `sigma` falls to half: 0.18739 / sigma."""
    return np.sqrt(np.log(2) / 2) / (np.pi * np.asarray(sigma, float))


def effective_f_number(f_number: ArrayLike, magnification: ArrayLike, pupil_ratio: float = 1.0) -> NDArray:
    """The f-number that the sensor sees, N (1 + m / P) [2]_; two stops more than marked at 1× with P = 1."""
    return np.asarray(f_number, float) * (1 + np.asarray(magnification, float) / pupil_ratio)


def field_angle_deg(extent: ArrayLike, distance: ArrayLike) -> NDArray:
    """The full angle that an extent on the sensor takes in from a distance, both in one unit of length.

    For a rectilinear lens the distance is f (1 + m / P): the image distance over the pupil ratio.
    """
    return 2 * np.degrees(np.arctan2(np.asarray(extent, float) / 2, distance))


def cos4_stops(field_angle: ArrayLike) -> NDArray:
    """Falloff in stops by the cos⁴ law [2]_ at a field angle in degrees from the axis."""
    return -4 * np.log2(np.cos(np.radians(field_angle)))


def depth_of_field(f_number: float, magnification: float, blur: float, pupil_ratio: float = 1.0) -> float:
    """Depth of field close up, 2 N c (1 + m / P) / m², in the unit of the blur circle c (common practice)."""
    return 2 * f_number * blur * (1 + magnification / pupil_ratio) / magnification**2


def quarter_wave_focus(effective_f_number: ArrayLike, wavelength: float) -> NDArray:
    """How far from best focus, to either side and at the sensor, a quarter wave is reached: 2 λ N_eff² [2]_."""
    return 2 * wavelength * np.asarray(effective_f_number, float) ** 2


def quarter_wave_field(
    f_number: ArrayLike, magnification: ArrayLike, wavelength: float, pupil_ratio: float = 1.0
) -> NDArray:
    """How far before the lens, to either side of best focus, a quarter wave is reached: 2 λ N_eff² / m² [2]_.

    In the unit of the wavelength; what moves by dz before the lens moves by m² dz behind it.
    """
    effective = effective_f_number(f_number, magnification, pupil_ratio)
    return quarter_wave_focus(effective, wavelength) / np.asarray(magnification, float) ** 2
