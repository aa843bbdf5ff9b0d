"""Longitudinal colour: which colour focuses nearer, and by how many millimetres, from a series on a rail."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._peaks import TilePeaks
from lensbench.findings import NORMAL_95, ColourFocus, Figure

LEAST_FIGURES = 2
"""With fewer tiles and directions than this nothing is said."""


def colour_focus(
    peaks: Mapping[str, TilePeaks], inside: NDArray[np.bool_], scale_sigma: float
) -> list[ColourFocus]:
    """Measure where along the rail each colour is sharpest in the centre, against green.

    Tile by tile and direction by direction, so that neither the field's shape nor the rail's readings enter.

    Parameters
    ----------
    peaks : mapping of str to TilePeaks
        By channel.
    inside : ndarray of bool, shape (tiles,)
        Which tiles lie in the centre.
    scale_sigma : float
        Relative standard deviation of distances along the rail.

    Returns
    -------
    list of ColourFocus
        Red and blue; without those whose focus the series does not show.
    """
    rows = []
    green = peaks.get("green")
    for channel in ("red", "blue"):
        part = peaks.get(channel)
        if green is None or part is None:
            continue
        difference = (part.best - green.best)[inside]
        known = np.isfinite(difference)
        if known.sum() < LEAST_FIGURES:
            continue
        value, count = float(difference[known].mean()), known.sum()
        noise = np.sqrt(np.sum((part.best_sigma**2 + green.best_sigma**2)[inside][known])) / count
        common = np.hypot(part.best_common_sigma, green.best_common_sigma)[inside][known].mean()
        sigma = np.sqrt(noise**2 + common**2 + (value * scale_sigma) ** 2)
        focus = Figure.of(value, NORMAL_95 * sigma, "mm")
        nearer = "neither" if focus.low <= 0 <= focus.high else channel if value < 0 else "green"
        rows.append(ColourFocus(channel, focus, nearer))
    return rows
