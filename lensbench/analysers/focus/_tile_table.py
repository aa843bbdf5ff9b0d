"""The table of a rail series by tile."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.focus._peaks import Centre, TilePeaks
from lensbench.analysers.focus._rail_positions import Rail
from lensbench.analysers.focus._series import Series
from lensbench.findings import DIRECTIONS, Figure, FocusTile

_BEYOND = {-1: "nearer", 0: "", 1: "farther"}


def tile_rows(
    series: Series,
    peaks: Mapping[str, TilePeaks],
    at: tuple[NDArray, NDArray],
    size: tuple[int, int],
    rail: Rail,
    centre: Centre,
) -> list[FocusTile]:
    """A row for each tile, direction and channel that has a figure.

    Parameters
    ----------
    series : Series
        The tiles.
    peaks : mapping of str to TilePeaks
        By channel.
    at : (ndarray, ndarray)
        Positions x and y of the tiles, in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    rail : Rail
        Where the shots were.
    centre : Centre
        The centre's best focus.

    Returns
    -------
    list of FocusTile
    """
    x, y = at
    h = frame.h_of(x, y, size)
    rows = []
    for channel, part in peaks.items():
        scale_sigma = part.best * rail.scale_sigma
        best_sigma = np.sqrt(part.best_sigma**2 + part.best_common_sigma**2 + centre.sigma**2 + scale_sigma**2)
        peak_sigma = np.hypot(part.peak_sigma, part.peak_common_sigma)
        there_sigma = np.hypot(part.at_centre_sigma, part.at_centre_common_sigma)
        for i, k in np.argwhere(np.isfinite(part.at_centre) | np.isfinite(part.best)):
            rows.append(
                FocusTile(
                    column=int(series.column[i]),
                    row=int(series.row[i]),
                    channel=channel,
                    direction=DIRECTIONS[k],
                    x=float(x[i]),
                    y=float(y[i]),
                    h=float(h[i]),
                    best_mm=Figure.if_known(part.best[i, k], best_sigma[i, k], "mm"),
                    mtf50_at_best=Figure.if_known(part.peak[i, k], peak_sigma[i, k], "cy/px"),
                    mtf50_at_centre=Figure.if_known(part.at_centre[i, k], there_sigma[i, k], "cy/px"),
                    beyond=_BEYOND.get(int(part.side[i, k]), "somewhere"),
                )
            )
    return rows
