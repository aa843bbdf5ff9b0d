"""Where the shots of a series truly were on the rail, as the curves through focus show it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve_fit import fit_curves

LEAST_CURVES = 20
"""With fewer curves than this, readings are taken as they are."""

LEAST_SHOTS = 7
"""With fewer shots than this near focus, errors of the readings are absorbed by the curves' own shape."""

ABSORBED = 5
"""Degrees of freedom of a series' reading errors that the curves' own shape absorbs: one a term."""

TURNS = 30
"""Alternations between fitting the curves and the positions (converged by then)."""

OVERRELAXATION = 1.8
"""Factor on each correction of a position: the curves absorb half of an error until they are fitted again."""

CLIPPED_SIGMAS = 4.0
"""Residuals of a single sharpness count up to so many standard deviations (Huber's loss)."""


class Rail(NamedTuple):
    """Where the shots were.

    `position` rises along the rail; `scatter_mm` is the standard deviation of the readings about it (0 where they
    can't be judged), and `scale_sigma` the relative standard deviation that they leave in every distance along the
    rail.
    """

    position: NDArray[np.float64]
    scatter_mm: float
    scale_sigma: float


def correct_readings(reading: NDArray, mtf50: NDArray, sigma: NDArray) -> Rail:
    """Find where the shots of a series truly were, from how all parts of the picture changed alike.

    An error of a reading displaces a shot along every curve through focus at once, and hundreds of curves show it
    to a fraction of what a rail can be read to. The mean error of the readings, and an error in proportion to the
    distance along the rail, no picture can show.

    Parameters
    ----------
    reading : ndarray, shape (shots,)
        Rail readings, rising.
    mtf50, sigma : ndarray, shape (curves, shots)
        Sharpness and its standard deviation; NaN where a shot has none.

    Returns
    -------
    Rail
    """
    as_read = Rail(reading.astype(float), 0.0, 0.0)
    if len(mtf50) < LEAST_CURVES or np.any(np.diff(reading) <= 0):
        return as_read
    position, most = as_read.position, np.diff(reading).min() / 3
    for _ in range(TURNS):
        correction, known = _corrections(position, mtf50, sigma)
        if known.sum() < LEAST_SHOTS:
            return as_read
        error = position + np.clip(OVERRELAXATION * correction, -most, most) - reading
        trend = np.polyfit(reading[known], error[known], 1)
        position = reading + np.where(known, error - np.polyval(trend, reading), 0.0)
        if np.any(np.diff(position) <= 0):
            return as_read
    scatter = float(np.sqrt(np.sum((position - reading) ** 2) / (known.sum() - ABSORBED)))
    lever = float(np.sqrt(np.sum((reading - reading[known].mean())[known] ** 2)))
    return Rail(position, scatter, scatter / lever)


def _corrections(
    position: NDArray, mtf50: NDArray, sigma: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """How much farther along the rail each shot fits the curves best, and which shots enough curves show."""
    curves = fit_curves(position, mtf50, sigma)
    score, information = np.zeros((2, len(position)))
    for shot, at in enumerate(position):
        good = curves.used[:, shot] & np.isfinite(curves.terms[:, 0])
        values, spread = mtf50[good, shot], sigma[good, shot]
        squares, slope = curves.squares(at)[good], curves.slope(at)[good]
        weight = (values**3 / (2 * spread)) ** 2
        residual = np.clip((values**-2 - squares) * np.sqrt(weight), -CLIPPED_SIGMAS, CLIPPED_SIGMAS)
        score[shot] = np.sum(np.sqrt(weight) * slope * residual)
        information[shot] = np.sum(weight * slope**2)
    known = curves.used.sum(axis=0) >= LEAST_CURVES / 2
    return np.divide(score, information, out=np.zeros(len(position)), where=information > 0), known
