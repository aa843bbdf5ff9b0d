"""The effective f-number from blur: out of focus the cone of light is cut where it is as wide as it is steep.

A perfect lens out of focus (H. H. Hopkins, Proc. R. Soc. A 231, 1955), with a Gaussian blur for its aberrations
and a square pixel behind, is fitted to the centre's MTF50 along the rail. What moves by dz before the lens moves
by m² dz behind it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from lensbench.figure import NORMAL_95, Figure
from lensbench.findings import BlurAperture, Setting, ThroughFocus
from lensbench.optics import channel_um, defocused_mtf, gaussian_mtf, pixel_mtf

LEAST_FALL = 1.6
"""The series must go so far out of focus that MTF50 falls to its peak over this: before that, aberrations and the
cone's width look alike (study: `tests/bench/series.py`)."""

LEAST_SHOTS = 5

MODEL_SIGMA, MODEL_POWER = 0.08, 1.3
"""Standard deviation of the f-number, relative, by what the lens has besides a Gaussian: the first, times the
fall of MTF50 along the rail (its peak over its least) to minus this power. Farther out of focus the cone's width
is all that counts (study: `tests/bench/series.py`)."""

_FREQUENCY = np.linspace(0.002, 0.6, 300)


def blur_apertures(
    settings: Sequence[Setting], pixel_pitch_um: float | None, pupil_ratio: float
) -> list[BlurAperture]:
    """The f-number of each setting whose rail series goes far enough out of focus."""
    if pixel_pitch_um is None:
        return []
    found = []
    for setting in settings:
        effective = _effective(setting, pixel_pitch_um)
        if effective and setting.magnification:
            as_marked = effective.scaled(1 / (1 + setting.magnification.value / pupil_ratio), "")
            found.append(BlurAperture(setting.label, effective, as_marked))
    return found


def _effective(setting: Setting, pitch_um: float) -> Figure | None:
    series = next((one for one in setting.focus.through if one.zone == "centre"), None) if setting.focus else None
    scale = setting.magnification
    if series is None or scale is None or len(series.mtf50) < LEAST_SHOTS:
        return None
    if max(series.mtf50) < LEAST_FALL * min(series.mtf50):
        return None
    value, sigma = _fitted(series, scale.value, pitch_um)
    model = MODEL_SIGMA * (max(series.mtf50) / min(series.mtf50)) ** -MODEL_POWER
    # Defocus goes with the square of the magnification, and so does the f-number for a given blur.
    relative = math.hypot(NORMAL_95 * math.hypot(sigma, model), 2 * scale.half_width / scale.value)
    return Figure.of(value, value * relative, "")


def _fitted(series: ThroughFocus, magnification: float, pitch_um: float) -> tuple[float, float]:
    """The effective f-number, and its relative standard deviation by how far the shots lie off the curve."""
    behind_um = 1000 * magnification**2 * np.array(series.position_mm)
    wavelength, seen = channel_um(series.channel), np.log(np.array(series.mtf50))
    start = _started(behind_um, np.array(series.mtf50), pitch_um)

    def off(terms: NDArray) -> NDArray:
        f_number, sigma = np.exp(terms[:2])
        return np.log(_mtf50(behind_um - terms[2], f_number, sigma, wavelength, pitch_um)) - seen

    fit = least_squares(off, [math.log(start), math.log(0.3), 0.0], x_scale=[0.1, 0.5, behind_um.std()])
    freedom = max(len(seen) - 3, 1)
    covariance = np.linalg.pinv(fit.jac.T @ fit.jac) * (fit.fun @ fit.fun) / freedom
    return float(np.exp(fit.x[0])), float(np.sqrt(covariance[0, 0]))


def _started(behind_um: NDArray, mtf50: NDArray, pitch_um: float) -> float:
    """A first guess: a disc of the cone's width falls to half at 0.705 over its diameter (2 J₁(x)/x = 1/2)."""
    far = int(np.argmin(mtf50))
    disc_um = 0.705 / mtf50[far] * pitch_um
    return max(abs(behind_um[far]) / disc_um, 0.7)


def _mtf50(behind_um: NDArray, f_number: float, sigma_px: float, wavelength: float, pitch_um: float) -> NDArray:
    """Where contrast first falls to half, in cycles a pixel, so far out of focus."""
    lens = defocused_mtf(_FREQUENCY / pitch_um, wavelength, f_number, behind_um[:, None])
    whole = lens * gaussian_mtf(_FREQUENCY, sigma_px) * pixel_mtf(_FREQUENCY, 1.0, 0.0)
    below = whole < 0.5
    k = np.maximum(np.argmax(below, axis=1), 1)
    rows = np.arange(len(whole))
    upper, lower = whole[rows, k - 1], whole[rows, k]
    share = np.clip((upper - 0.5) / np.where(upper > lower, upper - lower, 1.0), 0, 1)
    return np.where(below.any(axis=1), _FREQUENCY[k - 1] + share * (_FREQUENCY[1] - _FREQUENCY[0]), _FREQUENCY[-1])
