"""The rail itself: which way it counts, and how far its readings are off, as the shots show it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve import fit_curves

LEAST_CURVES = 20
"""With fewer curves than this, readings are taken as they are."""

LEAST_SHOTS = 7
"""With fewer shots than this near focus, what readings are off by can't be told from the curves' own shape."""

HIDDEN = 5
"""So many ways of being off, of all that a series of shots has, hide in the curves' own shape."""

TURNS = 30
"""How often places and curves are fitted by turns."""

HASTE = 1.8
"""How much farther a place is moved than the curves say: half of an offset hides in the curves until they are
refitted."""

LIMIT = 4.0
"""A single sharpness farther off its curve than so many standard deviations pulls no harder than one that far."""

SHAKEN = 0.07
"""A shot that is softer by this share than the shots around it let expect was shaken ..."""

EVENLY = 0.5
"""... and that share leaves less than so much of what the best misreading leaves."""

MISREADINGS = np.linspace(-0.45, 0.45, 19)
"""Wrong readings that are tried, in shares of the gap between the neighbours."""

WIDEST_GAP = 2.0
"""Neighbours farther apart than so many depths don't let expect anything."""

PLAIN = 4.0
"""The picture's size tells the rail's way where it changes by more than so many standard deviations."""


class Rail(NamedTuple):
    """Where the shots stood.

    `place` rises along the rail; `scatter_mm` is the standard deviation of the readings about it (0 where they
    can't be judged), and `scale_sigma` what that leaves open, as a share, of every distance along the rail.
    """

    place: NDArray[np.float64]
    scatter_mm: float
    scale_sigma: float


def straighten(reading: NDArray, mtf50: NDArray, sigma: NDArray) -> Rail:
    """Find where the shots of a series truly stood, from how all places of the picture changed alike.

    A reading that is off moves a shot along every curve through focus at once, which hundreds of them show to a
    fraction of what a rail can be read to. What the readings are off by on average, and in proportion to the way
    along the rail, no picture can show.

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
    place, most = as_read.place, np.diff(reading).min() / 3
    for _ in range(TURNS):
        off, known = _offsets(place, mtf50, sigma)
        if known.sum() < LEAST_SHOTS:
            return as_read
        off = place + np.clip(HASTE * off, -most, most) - reading
        trend = np.polyfit(reading[known], off[known], 1)
        place = reading + np.where(known, off - np.polyval(trend, reading), 0.0)
        if np.any(np.diff(place) <= 0):
            return as_read
    scatter = float(np.sqrt(np.sum((place - reading) ** 2) / (known.sum() - HIDDEN)))
    return Rail(place, scatter, scatter / float(np.sqrt(np.sum((reading - reading[known].mean())[known] ** 2))))


def _offsets(place: NDArray, mtf50: NDArray, sigma: NDArray) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """How much farther along the rail each shot fits the curves best, and of which shots enough curves tell."""
    curves = fit_curves(place, mtf50, sigma)
    top, bottom = np.zeros((2, len(place)))
    for shot, at in enumerate(place):
        good = curves.used[:, shot] & np.isfinite(curves.terms[:, 0])
        values, spread = mtf50[good, shot], sigma[good, shot]
        squares, slope = curves.squares(at)[good], curves.slope(at)[good]
        weight = (values**3 / (2 * spread)) ** 2
        off = np.clip((values**-2 - squares) * np.sqrt(weight), -LIMIT, LIMIT)
        top[shot] = np.sum(np.sqrt(weight) * slope * off)
        bottom[shot] = np.sum(weight * slope**2)
    known = curves.used.sum(axis=0) >= LEAST_CURVES / 2
    return np.divide(top, bottom, out=np.zeros(len(place)), where=bottom > 0), known


def shaken(reading: NDArray, mtf50: NDArray, sigma: NDArray) -> tuple[int, float] | None:
    """Find a shot that is softer everywhere than the shots around it let expect.

    Each is left out in turn, and held against the curves through the others. A wrong reading of the rail makes it
    softer too, but not by the same share everywhere: only where one share explains the shot far better than any
    place within reach of a misreading, it was shaken.

    Parameters
    ----------
    reading : ndarray, shape (shots,)
        Rail readings, rising.
    mtf50, sigma : ndarray, shape (curves, shots)
        Sharpness and its standard deviation; NaN where a shot has none.

    Returns
    -------
    (int, float) or None
        The worst such shot, and by what share it is softer; None where there is none, or nothing tells.
    """
    if len(reading) <= LEAST_SHOTS or len(mtf50) < LEAST_CURVES or np.any(np.diff(reading) <= 0):
        return None
    found = [(shot, _softer(shot, reading, mtf50, sigma)) for shot in range(1, len(reading) - 1)]
    worst = max(found, key=lambda pair: pair[1])
    return worst if worst[1] > SHAKEN else None


def _softer(shot: int, reading: NDArray, mtf50: NDArray, sigma: NDArray) -> float:
    """By what share a shot is softer than expected; 0 where a wrong reading would explain it nearly as well."""
    rest = np.delete(np.arange(len(reading)), shot)
    curves = fit_curves(reading[rest], mtf50[:, rest], sigma[:, rest])
    here = curves.covers(reading[shot]) & np.isfinite(mtf50[:, shot]) & np.isfinite(curves.terms[:, 0])
    gap = reading[shot + 1] - reading[shot - 1]
    if here.sum() < LEAST_CURVES / 2 or not gap <= WIDEST_GAP * np.median(curves.peaks().depth[here]):
        return 0.0

    def misses(moved: float) -> NDArray:
        return mtf50[here, shot] / curves.mtf50(reading[shot] + moved)[0][here] - 1

    share = float(np.median(misses(0.0)))
    evenly = np.median(np.abs(misses(0.0) - share))
    moved = min(np.median(np.abs(misses(step * gap))) for step in MISREADINGS)
    return -share if evenly < EVENLY * moved else 0.0


def away_sign(reading: NDArray, x: NDArray, y: NDArray) -> int:
    """Which way the rail counts: 1 where larger readings stand farther from the target, -1 where nearer.

    The farther the target, the smaller it is drawn.

    Parameters
    ----------
    reading : ndarray, shape (shots,)
    x, y : ndarray, shape (tiles, shots)
        Places of the tiles in pixels; NaN where a shot doesn't show one.

    Returns
    -------
    int
        0 where the picture's size doesn't tell.
    """
    everywhere = np.isfinite(x).all(axis=1)
    if everywhere.sum() < 3:
        return 0
    x, y = x[everywhere], y[everywhere]
    spread = np.hypot(x - np.median(x, axis=0), y - np.median(y, axis=0))
    mean = spread.mean(axis=1, keepdims=True)
    outer = mean[:, 0] >= np.median(mean)
    size = np.median(spread[outer] / mean[outer], axis=0)
    along = reading - reading.mean()
    slope = np.sum(along * size) / np.sum(along**2)
    left = size - size.mean() - slope * along
    sigma = np.sqrt(np.sum(left**2) / max(len(reading) - 2, 1) / np.sum(along**2))
    return 0 if abs(slope) < PLAIN * sigma else int(-np.sign(slope))
