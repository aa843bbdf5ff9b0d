"""How steeply light rises across nominal edges, averaged along them: enough to see whether there are two steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge._places import EdgePlaces
from lensbench.analysers.edge._samples import gather
from lensbench.even_choice import evenly_chosen
from lensbench.shot import Shot

STEP_PX = 0.5
"""Width of the bins across an edge."""

MARGIN_PX = 6.0
"""How far samples stay from other edges."""

MOST_EDGES = 240
"""Edges looked at: enough to tell, spread evenly over those found."""

LEAST_KNOWN = 0.5
"""Share of the bins that must hold samples."""


@dataclass(frozen=True, eq=False)
class LineSpreads:
    """Line spreads of n nominal edges, whether these could be measured or not.

    Attributes
    ----------
    spread : ndarray, shape (n, bins)
        Rise of light in each bin, over the whole rise; bins are `step_px` wide, the nominal line in the middle.
    reach_px : ndarray, shape (n,)
        How far to both sides there are samples.
    place, normal : ndarray, shape (n, 2)
        Each edge's middle in pixels, and the unit vector across it.
    step_px : float
        Width of a bin.
    """

    spread: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    place: NDArray[np.float64]
    normal: NDArray[np.float64]
    step_px: float = STEP_PX

    def __len__(self) -> int:
        return len(self.spread)


def rough_line_spreads(shot: Shot, channel: str, places: EdgePlaces, far_px: float) -> LineSpreads:
    """Average the light beside nominal edges along them, and difference it.

    Parameters
    ----------
    shot : Shot
        The frame.
    channel : str
        One of its channels.
    places : EdgePlaces
        Nominal places, good to a pixel or two and a degree.
    far_px : float
        How far to each side.
    """
    places = places.take(evenly_chosen(len(places), MOST_EDGES))
    n, bins = len(places), round(2 * far_px / STEP_PX)
    samples = gather(shot, channel, places, np.full(n, far_px), np.full(n, MARGIN_PX))
    key = samples.edge * bins + np.clip(((samples.u + far_px) / STEP_PX).astype(int), 0, bins - 1)
    count = np.bincount(key, minlength=n * bins).reshape(n, bins)
    light = np.bincount(key, samples.light, n * bins).reshape(n, bins) / np.maximum(count, 1)
    spread, reach, good = np.zeros((n, bins)), np.zeros(n), np.zeros(n, bool)
    for k in range(n):
        known = np.flatnonzero(count[k])
        if len(known) < max(LEAST_KNOWN * bins, 2):
            continue
        rise = np.diff(np.interp(np.arange(bins), known, light[k, known]), append=light[k, known[-1]])
        reach[k] = min(far_px - known[0] * STEP_PX, known[-1] * STEP_PX - far_px)
        good[k] = rise.sum() > 0
        spread[k] = rise / rise.sum() if good[k] else 0.0
    return LineSpreads(spread[good], reach[good], places.middle[good], places.normal[good])
