"""Bands of light over the whole sheet: a lamp that flickers while a rolling shutter reads row after row.

The white of a sheet is smooth but for its texture and what lies on it, which no two parts of the frame have in
common. Bands they have: what each row's white has beyond a smooth surface is the same in all parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.rank_filters import maximum_filter
from lensbench.robust import cauchy_weight, robust_sigma
from lensbench.shot import Shot

CELL = (4, 8)
"""Samples of one colour down and across that are averaged."""

MOST_ACROSS = 96
"""Cells across that are looked at, spread evenly."""

PARTS, WHITE = 16, 0.65
"""The frame is parted into so many down and across; cells with this share of the lightest of their part and of
those around it are the sheet's white: falloff takes less, and ink more."""

MAX_VARIANCE = 3.0
"""Cells with more than so many times the median variance hold an edge or a mark (chosen by experience)."""

POWER = 5
"""Highest power of the position in the smooth surface that falloff and lamps make (chosen by experience)."""

ROUNDS = 4
GROUPS = 6
"""Parts of the frame beside each other that must show the same."""

FEWEST_ROWS = 24
"""Rows of cells needed (chosen by experience)."""

LEAST_DEPTH, LEAST_ALIKE = 0.006, 0.6
"""Depth, as a share of the light, and median correlation between the parts from which light is banded
(clean shots have up to 0.004, and 0.2; study: `tests/bench/gauntlet`)."""


@dataclass(frozen=True)
class LightBands:
    """Bands of light.

    Attributes
    ----------
    upright : bool
        Whether they run up and down.
    depth : float
        From the darkest to the lightest, as a share of the light.
    period_px : float
        How far they lie apart.
    """

    upright: bool
    depth: float
    period_px: float


def find_bands(shot: Shot, channel: str) -> LightBands | None:
    """Look for bands, along rows or columns, common to all white parts of a target shot.

    Parameters
    ----------
    shot : Shot
        With white areas over the whole frame.
    channel : str
        One of its channels.

    Returns
    -------
    LightBands or None
        None where there are none, or too little white.
    """
    part = next(shot.sublattices(channel))
    found = []
    for upright in (False, True):
        samples = part.samples.T if upright else part.samples
        profile = _common_profile(*_white_cells(samples, float(shot.black[part.colour_index]), shot.white))
        if profile is not None:
            depth = float(np.ptp(np.percentile(profile, [2.5, 97.5])))
            large = profile[np.abs(profile) > profile.std() / 2]
            crossings = max(int((np.diff(np.sign(large)) != 0).sum()), 1)
            cell_px = CELL[0] * part.step[0 if upright else 1]
            found.append(LightBands(upright, depth, 2 * cell_px * len(profile) / crossings))
    found = [bands for bands in found if bands.depth > LEAST_DEPTH]
    return max(found, key=lambda bands: bands.depth, default=None)


def _white_cells(samples: NDArray, black: float, white: float) -> tuple[NDArray, NDArray]:
    """Mean light of cells, and which of them are the sheet's even white; shape (down, across)."""
    down, across = samples.shape[0] // CELL[0], samples.shape[1] // CELL[1]
    cells = samples[: down * CELL[0], : across * CELL[1]].reshape(down, CELL[0], across, CELL[1])
    cells = cells[:, :, :: max(across // MOST_ACROSS, 1)].astype(np.float32)
    light, variance = cells.mean(axis=(1, 3)) - black, cells.var(axis=(1, 3))
    good = (light > 0) & (cells.max(axis=(1, 3), initial=0) < white)
    good &= light > WHITE * _lightest_around(light)
    if good.any():
        share = variance / np.maximum(light, 1e-3)
        good &= share < MAX_VARIANCE * np.median(share[good])
    return light, good


def _lightest_around(light: NDArray) -> NDArray[np.float32]:
    """For each cell the lightest of its part of the frame and of those around it."""
    if min(light.shape) < PARTS:
        return np.full_like(light, light.max(initial=0))
    starts = [np.linspace(0, n, PARTS + 1).astype(int)[:-1] for n in light.shape]
    lightest = np.maximum.reduceat(np.maximum.reduceat(light, starts[0], axis=0), starts[1], axis=1)
    row, column = (
        np.searchsorted(start, np.arange(n), side="right") - 1
        for start, n in zip(starts, light.shape, strict=True)
    )
    return maximum_filter(lightest)[row[:, None], column]


def _common_profile(light: NDArray, white: NDArray) -> NDArray[np.float64] | None:
    """What each row has beyond a smooth surface in all parts of the frame alike, as a share; None if nothing."""
    down, across = light.shape
    if down < FEWEST_ROWS or across < 2 * GROUPS or white.sum() < 4 * FEWEST_ROWS:
        return None
    y, x = np.nonzero(white)
    rest = np.full(light.shape, np.nan)
    rest[white] = _residual(np.log(light[white]), 2 * x / (across - 1) - 1, 2 * y / (down - 1) - 1)
    rows = np.isfinite(rest)
    parts = []
    for values, known in zip(
        np.array_split(rest, GROUPS, axis=1), np.array_split(rows, GROUPS, axis=1), strict=True
    ):
        seen = known.any(axis=1)
        if seen.mean() < 0.5:
            return None
        middle = np.nanmedian(values[seen], axis=1)
        parts.append(_smoothed(np.interp(np.arange(down), np.flatnonzero(seen), middle)))
    profile = np.median(parts, axis=0)
    alike = np.atleast_2d(np.corrcoef(parts))[np.triu_indices(GROUPS, 1)]
    return profile - np.median(profile) if np.median(alike) > LEAST_ALIKE else None


def _residual(value: NDArray, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """What a robust polynomial in x and y, both -1 to 1, leaves of values."""
    by_x, by_y = (np.polynomial.legendre.legvander(v, POWER) for v in (x, y))
    terms = np.stack([by_x[:, i] * by_y[:, k] for i in range(POWER + 1) for k in range(POWER + 1 - i)], axis=1)
    weight = np.ones(len(value))
    for _ in range(ROUNDS):
        weighted = terms * weight[:, None]
        fit = np.linalg.lstsq(weighted.T @ terms, weighted.T @ value, rcond=None)[0]
        rest = value - terms @ fit
        weight = cauchy_weight(rest, 2.5 * robust_sigma(rest, about=0.0) + 1e-9)
    return np.asarray(rest, np.float64)


def _smoothed(line: NDArray) -> NDArray[np.float64]:
    """Running mean of three."""
    padded = np.pad(line, 1, mode="edge")
    return (padded[:-2] + padded[1:-1] + padded[2:]) / 3
