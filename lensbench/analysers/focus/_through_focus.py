"""The zones' own curves through focus, for drawing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.focus._curve_fit import fit_curves
from lensbench.analysers.focus._peaks import Centre
from lensbench.analysers.focus._rail_positions import Rail
from lensbench.analysers.focus._series import Series
from lensbench.findings import ThroughFocus

LEAST_SHOTS = 4
"""A curve of fewer shots than this isn't drawn."""

LEAST_SHARE = 0.6
"""Tiles that fewer of the shots show don't enter a zone's curve: they would come and go along it."""

CURVE_POINTS = 41
"""Points of each curve."""


def through_focus(series: Series, channel: str, zone: NDArray, rail: Rail, centre: Centre) -> list[ThroughFocus]:
    """Every zone's sharpness by shot, mean of both directions, and the curve through it.

    Parameters
    ----------
    series : Series
        The tiles by shot.
    channel : str
        The channel that is drawn.
    zone : ndarray of int, shape (tiles,)
        The zone of each tile, an index into `frame.ZONES`.
    rail : Rail
        Where the shots were.
    centre : Centre
        The centre's best focus.

    Returns
    -------
    list of ThroughFocus
    """
    mtf50, sigma = series.curves(channel)
    seen = np.isfinite(mtf50).mean(axis=1) >= LEAST_SHARE
    rows = []
    for number, name in enumerate(frame.ZONES):
        chosen = np.repeat(zone == number, 2) & seen
        whole = np.isfinite(mtf50[chosen]).all(axis=0)
        if not chosen.any() or whole.sum() < LEAST_SHOTS:
            continue
        position, mean = rail.position[whole], mtf50[chosen][:, whole].mean(axis=0)
        mean_sigma = np.sqrt((sigma[chosen][:, whole] ** 2).sum(axis=0)) / chosen.sum()
        curve = fit_curves(position, mean[None], mean_sigma[None])
        along = curve.middle[0] + curve.half[0] * np.linspace(-1, 1, CURVE_POINTS)
        level = np.array([curve.mtf50(at)[0][0] for at in along])
        good = np.isfinite(level)
        rows.append(
            ThroughFocus(
                zone=name,
                channel=channel,
                position_mm=_rounded(position - centre.position),
                mtf50=_rounded(mean),
                curve_mm=_rounded(along[good] - centre.position),
                curve_mtf50=_rounded(level[good]),
            )
        )
    return rows


def _rounded(values: NDArray) -> list[float]:
    return [float(f"{value:.5g}") for value in values]
