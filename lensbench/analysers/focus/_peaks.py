"""The centre's best focus, and the peaks of all tiles with their sharpness at the centre's best focus."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve import FocusCurves
from lensbench.analysers.focus._curve_fit import fit_curves
from lensbench.analysers.focus._rail_positions import Rail
from lensbench.analysers.focus._series import Series

SCATTER_LEFT = 0.7
"""Share of the rail's scatter that is left in positions after they were corrected ..."""

SCATTER_IN_PEAK = 0.12
"""... and its effect on a peak's MTF50, as a share per depth (both: study `tests/bench/focus.py`)."""

OUTLIER = 3.0
"""Peaks with so many times the median's standard deviation don't enter the centre."""


@dataclass(frozen=True, eq=False)
class Centre:
    """Best focus of the centre zone on the rail, its depth, and the curves that gave it."""

    position: float
    sigma: float
    depth: float
    depth_sigma: float
    curves: FocusCurves
    shown: NDArray[np.bool_]

    def loss_percent(self, position: float) -> float:
        """How much softer the centre is at a position than at best."""
        best, there = (self.curves.mtf50(at)[0][self.shown] for at in (self.position, position))
        return float(100 * np.nanmean(1 - there / best))


@dataclass(frozen=True, eq=False)
class TilePeaks:
    """A channel's peaks, and its sharpness at the centre's best focus, all of shape (tiles, directions).

    Attributes
    ----------
    best, best_sigma, best_common_sigma : ndarray
        Position of each peak from the centre's, mm; its standard deviation by noise, and by errors that all tiles
        have in common.
    peak, peak_sigma, peak_common_sigma : ndarray
        MTF50 there, in the same way.
    at_centre, at_centre_sigma, at_centre_common_sigma : ndarray
        MTF50 with the centre in best focus, in the same way.
    side : ndarray of int
        As in `Peaks`.
    """

    best: NDArray[np.float64]
    best_sigma: NDArray[np.float64]
    best_common_sigma: NDArray[np.float64]
    peak: NDArray[np.float64]
    peak_sigma: NDArray[np.float64]
    peak_common_sigma: NDArray[np.float64]
    at_centre: NDArray[np.float64]
    at_centre_sigma: NDArray[np.float64]
    at_centre_common_sigma: NDArray[np.float64]
    side: NDArray[np.int64]


def find_centre(rail: Rail, series: Series, channel: str, inside: NDArray[np.bool_]) -> Centre | None:
    """Find the centre's best focus, the mean over the peaks of its tiles.

    Parameters
    ----------
    rail : Rail
        Where the shots were.
    series : Series
        The tiles by shot.
    channel : str
        The channel that counts.
    inside : ndarray of bool, shape (tiles,)
        Which tiles lie in the centre.

    Returns
    -------
    Centre or None
        None where fewer than half of the peaks lie within the series.
    """
    curves = fit_curves(rail.position, *series.curves(channel, inside))
    peaks = curves.peaks()
    shown = peaks.side == 0
    if shown.sum() == 0 or 2 * shown.sum() < np.isfinite(peaks.position).sum():
        return None
    shown &= peaks.position_sigma <= OUTLIER * np.median(peaks.position_sigma[shown])
    root_count = np.sqrt(shown.sum())
    noise = np.sqrt(np.mean(peaks.position_sigma[shown] ** 2)) / root_count
    model = peaks.position_model_sigma[shown].mean()
    return Centre(
        position=float(peaks.position[shown].mean()),
        sigma=float(np.hypot(noise, np.hypot(model, SCATTER_LEFT * rail.scatter_mm))),
        depth=float(peaks.depth[shown].mean()),
        depth_sigma=float(peaks.depth[shown].std() / root_count + model),
        curves=curves,
        shown=shown,
    )


def find_peaks(series: Series, channel: str, rail: Rail, centre: Centre) -> TilePeaks:
    """Peaks of a channel's tiles, and their sharpness with the centre in best focus."""
    data = series.curves(channel)
    curves, near = fit_curves(rail.position, *data), fit_curves(rail.position, *data, about=centre.position)
    peaks = curves.peaks()
    own = curves.covers(centre.position)
    value, sigma, slope = (
        np.where(own, a, np.where(near.covers(centre.position), b, np.nan))
        for a, b in zip(_at(curves, centre.position), _at(near, centre.position), strict=True)
    )
    shown = peaks.side == 0
    left = SCATTER_LEFT * rail.scatter_mm
    peak_common = np.hypot(peaks.mtf50_model_sigma, SCATTER_IN_PEAK * left / peaks.depth * peaks.mtf50)

    def table(values: NDArray, known: NDArray = shown) -> NDArray:
        return np.where(known, values, np.nan).reshape(-1, 2)

    everywhere = np.isfinite(value)
    at_centre_common = np.hypot(slope * centre.sigma, np.where(shown, peak_common, 0.0))
    return TilePeaks(
        best=table(peaks.position - centre.position),
        best_sigma=table(peaks.position_sigma),
        best_common_sigma=table(np.hypot(peaks.position_model_sigma, left)),
        peak=table(peaks.mtf50),
        peak_sigma=table(peaks.mtf50_sigma),
        peak_common_sigma=table(peak_common),
        at_centre=table(value, everywhere),
        at_centre_sigma=table(sigma, everywhere),
        at_centre_common_sigma=table(at_centre_common, everywhere),
        side=peaks.side.reshape(-1, 2),
    )


def _at(curves: FocusCurves, position: float) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50 at a position, its standard deviation, and its derivative along the rail."""
    return *curves.mtf50(position), curves.mtf50_slope(position)
