"""What an even light plainly is not: bands, bars of a window, clouds, a light leak; found, named, and levelled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX, block_means_of_cells, cell_centres
from lensbench.analysers.numerics.rank_filters import median_filter
from lensbench.analysers.numerics.strips import interpolation_matrix, subtract_product
from lensbench.analysers.numerics.surfaces import Surface
from lensbench.findings import UnevenLight
from lensbench.frame import h_of, half_diagonal
from lensbench.robust import robust_sigma

THINNED, GROUPS = 3, 4
"""One cell in so many counts for the profile down or across, which must be alike in so many parts of the frame."""

RUN_CELLS = 8
"""Cells over which profiles are averaged: the sensor's own rows and columns differ from one to the next."""

LEAST_BAND, LEAST_ALIKE = 0.12, 0.5
"""Standard deviation of a profile, in units of a cell's noise, and correlation between the parts, from which
light is banded (clean flats have up to 0.05; study: tests/bench/uneven_light.py)."""

REPEATS = 3
"""Changes of sign from which a profile repeats itself, as a flickering lamp's does."""

LEAST_CLOUDS, INNER_H = 8e-4, 0.75
"""Robust standard deviation of the blocks' depth, as a share of the light, from which clouds are named, and out to
which h: corners may be vignetted unevenly."""

LOCAL_BLOCKS = 2
"""Blocks to each side whose median is the local light under clouds."""

WIDEST_PX = 150.0
"""Marks wider than this can't be distinguished from clouds."""

UNSURE_SHARE = 0.1
"""Half of the share of the light's unevenness that marks must take: levelling leaves some of it (chosen by
experience)."""

LEAK_DEPTH, LEAK_OVER, LEAK_SHARE, LEAK_BLOCKS, LEAK_REACH = 5e-3, 1.5, 0.004, 3, 0.6
"""Light that much brighter at a border than the rest, and so many times what is darker anywhere, over this share
of the frame, within so many blocks of the border and so many half-diagonals, is a leak (chosen by experience)."""


class Levelled(NamedTuple):
    """What was found; how wide marks beside it may be, in pixels; half the share of light that they need."""

    found: list[UnevenLight]
    widest_px: float
    unsure: float


def level_uneven_light(z: NDArray[np.float32], strength: Surface, x: NDArray, y: NDArray) -> Levelled:
    """Find what makes a light uneven, and subtract it in place, so that it isn't searched for dirt.

    Parameters
    ----------
    z : ndarray of float32
        Cells of the residual from the smooth light; changed in place.
    strength : Surface
        Signal to noise of a whole cell's light.
    x, y : ndarray
        Centres of the blocks, in pixels.

    Returns
    -------
    Levelled
    """
    blocks = strength.on_grid(x, y)
    rows, columns = (_interpolated(axis, count) for axis, count in ((y, z.shape[0]), (x, z.shape[1])))
    down, across = (
        _profile(z, rows @ blocks.astype(np.float32)),
        _profile(z.T, columns @ blocks.T.astype(np.float32)),
    )
    found = _bands(down, across)
    if down is not None:
        subtract_product(z, rows * down[:, None], (blocks @ columns.T).astype(np.float32), keep_zeros=True)
    if across is not None:
        subtract_product(z, rows, (blocks @ (columns * across[:, None]).T).astype(np.float32), keep_zeros=True)
    depth = block_means_of_cells(z, x, y) / blocks
    smooth = median_filter(depth, 1)
    inner = h_of(x[None, :], y[:, None], strength.size) < INNER_H
    sigma = robust_sigma(smooth[inner])
    leak = _leak(smooth, x, y, strength.size)
    if leak is not None:
        found.append(leak)
    elif sigma > LEAST_CLOUDS and not found:
        found.append(UnevenLight("clouds", 100 * float(np.ptp(np.percentile(smooth[inner], [2.5, 97.5])))))
    unsure = UNSURE_SHARE / 100 * max((light.percent for light in found), default=0.0)
    if sigma <= LEAST_CLOUDS and (down is None or across is None):
        return Levelled(found, np.inf, unsure)
    local = median_filter(depth, LOCAL_BLOCKS) * blocks
    subtract_product(z, rows, (local @ columns.T).astype(np.float32), keep_zeros=True)
    return Levelled(found, WIDEST_PX, unsure)


def _profile(z: NDArray[np.float32], strength: NDArray[np.float32]) -> NDArray[np.float32] | None:
    """How much darker each row is in all parts of the frame alike, as a share of the light; None where even.

    `strength` is the signal to noise of the light in each row, shape (rows, blocks across).
    """
    parts, known = np.array_split(z[:, ::THINNED], GROUPS, axis=1), np.array_split(strength, GROUPS, axis=1)
    profiles = np.array(
        [_running_mean(_middles(p) / np.median(s, axis=1)) for p, s in zip(parts, known, strict=True)]
    )
    profiles -= np.median(profiles, axis=1, keepdims=True)
    profile = np.median(profiles, axis=0)
    if profile.std() * float(np.median(strength)) < LEAST_BAND:
        return None
    alike = np.sort(np.corrcoef(profiles)[np.triu_indices(GROUPS, 1)])
    # Three of the four parts make half of the pairs: a bar the other way may cover the fourth.
    return profile.astype(np.float32) if alike[len(alike) // 2] > LEAST_ALIKE else None


def _middles(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """The median of each row, as `numpy.median` gives it in several times as long."""
    middle = z.shape[1] // 2
    parted = np.partition(z, middle, axis=1)
    upper = parted[:, middle]
    return upper if z.shape[1] % 2 else (parted[:, :middle].max(axis=1) + upper) / 2


def _running_mean(line: NDArray) -> NDArray[np.float64]:
    padded = np.pad(line.astype(float), (RUN_CELLS // 2, RUN_CELLS - 1 - RUN_CELLS // 2), mode="edge")
    return np.convolve(padded, np.full(RUN_CELLS, 1 / RUN_CELLS), mode="valid")


def _bands(down: NDArray | None, across: NDArray | None) -> list[UnevenLight]:
    """What bands along the rows, the columns, or both, look like."""
    shown = [profile for profile in (down, across) if profile is not None]
    if not shown:
        return []
    percent = 100 * max(float(np.ptp(np.percentile(profile, [2.5, 97.5]))) for profile in shown)
    if len(shown) == 2:
        return [UnevenLight("window bars", percent)]
    profile = shown[0]
    large = profile[np.abs(profile) > profile.std() / 2]
    repeats = int((np.diff(np.sign(large)) != 0).sum())
    if repeats < REPEATS:
        return [UnevenLight("bar", percent)]
    period = 2 * CELL_PX * len(profile) / max(repeats, 1)
    return [UnevenLight("bands" if down is not None else "upright bands", percent, period)]


def _leak(smooth: NDArray, x: NDArray, y: NDArray, size: tuple[int, int]) -> UnevenLight | None:
    """Light that is brighter at one border only."""
    row, column = np.unravel_index(np.argmin(smooth), smooth.shape)
    beside = min(row, column, smooth.shape[0] - 1 - row, smooth.shape[1] - 1 - column) < LEAK_BLOCKS
    depth = -float(smooth[row, column])
    around = smooth < -depth / 3
    if not beside or depth < max(LEAK_DEPTH, LEAK_OVER * float(smooth.max())):
        return None
    # All that is so bright lies around that place.
    rows, columns = np.nonzero(around)
    apart = np.hypot(x[columns] - x[column], y[rows] - y[row]) / half_diagonal(size)
    return UnevenLight("leak", 100 * depth) if around.mean() > LEAK_SHARE and apart.max() < LEAK_REACH else None


def _interpolated(blocks: NDArray, cells: int) -> NDArray[np.float32]:
    """Weights of linear interpolation from blocks to cells, shape (cells, blocks)."""
    places = np.interp(cell_centres(cells), blocks, np.arange(len(blocks)))
    return interpolation_matrix(places, len(blocks))
