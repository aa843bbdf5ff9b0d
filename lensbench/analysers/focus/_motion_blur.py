"""Shots of a series that were blurred by motion: softer everywhere than the shots around them predict."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve_fit import fit_curves
from lensbench.analysers.focus._rail_positions import LEAST_CURVES, LEAST_SHOTS

SOFTER = 0.07
"""A shot that is softer by this share than the shots around it predict was blurred by motion ..."""

UNIFORMITY = 0.5
"""... and where that share leaves less than so much of the residuals that the best wrong reading leaves (both
chosen by experience on rendered series)."""

WRONG_READINGS = np.linspace(-0.45, 0.45, 19)
"""Errors of the reading that are tried, in shares of the gap between the neighbours."""

WIDEST_GAP = 2.0
"""Neighbours farther apart than so many depths predict nothing."""


def find_motion_blur(reading: NDArray, mtf50: NDArray, sigma: NDArray) -> tuple[int, float] | None:
    """Find a shot that is softer everywhere than the shots around it predict.

    Each is rejected in turn, and compared with the curves through the others. A wrong reading of the rail makes it
    softer too, but not by the same share everywhere: only where one share explains the shot far better than any
    wrong reading, it was blurred by motion.

    Parameters
    ----------
    reading : ndarray, shape (shots,)
        Rail readings, rising.
    mtf50, sigma : ndarray, shape (curves, shots)
        Sharpness and its standard deviation; NaN where a shot has none.

    Returns
    -------
    (int, float) or None
        The worst such shot, and by what share it is softer; None where there is none, or it can't be decided.
    """
    if len(reading) <= LEAST_SHOTS or len(mtf50) < LEAST_CURVES or np.any(np.diff(reading) <= 0):
        return None
    found = [(shot, _softer(shot, reading, mtf50, sigma)) for shot in range(1, len(reading) - 1)]
    worst = max(found, key=lambda pair: pair[1])
    return worst if worst[1] > SOFTER else None


def _softer(shot: int, reading: NDArray, mtf50: NDArray, sigma: NDArray) -> float:
    """By what share a shot is softer than predicted; 0 where a wrong reading would explain it nearly as well."""
    rest = np.delete(np.arange(len(reading)), shot)
    curves = fit_curves(reading[rest], mtf50[:, rest], sigma[:, rest])
    here = curves.covers(reading[shot]) & np.isfinite(mtf50[:, shot]) & np.isfinite(curves.terms[:, 0])
    gap = reading[shot + 1] - reading[shot - 1]
    if here.sum() < LEAST_CURVES / 2 or not gap <= WIDEST_GAP * np.median(curves.peaks().depth[here]):
        return 0.0

    def residuals(error: float) -> NDArray:
        return mtf50[here, shot] / curves.mtf50(reading[shot] + error)[0][here] - 1

    share = float(np.median(residuals(0.0)))
    by_share = np.median(np.abs(residuals(0.0) - share))
    by_reading = min(np.median(np.abs(residuals(step * gap))) for step in WRONG_READINGS)
    return -share if by_share < UNIFORMITY * by_reading else 0.0
