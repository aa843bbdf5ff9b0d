"""Fibres measured along a traced path: centre line, ends, and the profile across it."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._mark_profile import relative_depth
from lensbench.analysers.dust._paths import cells_beside, extended, normals, once, resampled
from lensbench.analysers.dust._pyramid import Level
from lensbench.analysers.dust._residual import Residual
from lensbench.findings import NORMAL_95, Figure

PROFILE_STEEPNESS = (2.0, 4.0)
WIDTHS = np.geomspace(0.4, 6.0, 36)
OFFSETS = np.linspace(-0.6, 0.6, 7)
"""Profiles that are fitted: steepness of the rims, widths and offsets in cells."""

BIN = 0.5
"""Cells to a bin of a profile."""

PROFILE_CELLS = 5.0
"""Half-width of a profile across a fibre, in cells."""

HIGH_PERCENT = 70
"""Percentile of the running signal along a fibre that is taken for its height (chosen by experience)."""

LEAST_EVEN, EVEN_RUN = 0.5, 5
"""Median of a fibre's signal along it over its mean, at least, of running means of so many cells (chosen by
experience)."""

NEARLY = 3.84
"""Widths whose chi-squared is above the least by less than this make the interval (95 % of one degree of
freedom)."""

LEAST_WIDTH_SHARE = 0.04
"""Half-width of a width's interval at least, as a share of it: the step of the table."""

PIXELS_BELOW = 2.5
"""Fibres narrower than this many of the finest cells are measured on single pixels."""


def measure_fibre(
    residual: Residual,
    levels: list[Level],
    level: Level,
    path: NDArray[np.float64],
    sign: float,
    least_signal: float = 4.0,
) -> Fibre | None:
    """Centre a traced path on its fibre, find its ends, and measure the profile across it.

    Parameters
    ----------
    residual : Residual
        For the strength of the light and, for thin fibres, single pixels.
    levels : list of Level
        The pyramid, background-subtracted, without other marks.
    level : Level
        The one on which the path was traced.
    path : ndarray, shape (points, 2)
        In pixels.
    sign : float
        1 for a dark fibre, -1 for a bright one.
    least_signal : float
        Least signal to noise on that level.

    Returns
    -------
    Fibre or None
        None where no line remains after centring.
    """
    line = _centre_line(path, level, sign, (6, 4))
    if line is None:
        return None
    profile = _profile(residual, level, line, sign)
    if profile.signal_to_noise < least_signal:
        return None
    best = level
    # The finer the cells the more accurate the path and the profile, while there is signal in each. A
    # more accurate path may give most signal on the coarser cells so far, whose profile is wider.
    for finer in [other for other in reversed(levels) if other.cell_px < level.cell_px]:
        closer = _centre_line(line, finer, sign, (2,))
        if closer is None:
            continue
        for cells in (finer, best):
            other = _profile(residual, cells, closer, sign)
            if other.signal_to_noise > profile.signal_to_noise:
                line, profile, best = closer, other, cells
    if 0 < profile.width < PIXELS_BELOW * CELL_PX:
        pixels = _profile(residual, None, line, sign)
        profile = pixels if pixels.signal_to_noise > 0.9 * profile.signal_to_noise else profile
    if profile.height <= 0 or not _is_even(best.z, sign, (line - best.offset) / best.cell_px):
        return None
    return _fibre(residual, line, profile, level.cell_px, sign)


def _centre_line(path: NDArray, level: Level, sign: float, reaches: tuple[int, ...]) -> NDArray[np.float64] | None:
    """A path in pixels centred on its line on a level, extended by some cells at both ends each time."""
    path = (path - level.offset) / level.cell_px
    for reach in reaches:
        path, along = _centred(level.z, sign, resampled(extended(path, reach)))
        first, last = _ends(along)
        path = once(path[first:last])
        if len(path) < 5:
            return None
    return path * level.cell_px + level.offset


def _cross_sections(z: NDArray, path: NDArray, offsets: NDArray) -> NDArray[np.float64]:
    """Z on lines across a path, by bilinear interpolation, shape (points, offsets); 0 outside the frame."""
    positions = path[:, None] + offsets[None, :, None] * normals(path)[:, None]
    column, row = np.floor(positions[..., 0]).astype(int), np.floor(positions[..., 1]).astype(int)
    u, v = positions[..., 0] - column, positions[..., 1] - row
    inside = (column >= 0) & (column < z.shape[1] - 1) & (row >= 0) & (row < z.shape[0] - 1)
    column, row = column.clip(0, z.shape[1] - 2), row.clip(0, z.shape[0] - 2)
    upper = (1 - u) * z[row, column] + u * z[row, column + 1]
    lower = (1 - u) * z[row + 1, column] + u * z[row + 1, column + 1]
    return np.where(inside, (1 - v) * upper + v * lower, 0.0)


def _centred(z: NDArray, sign: float, path: NDArray) -> tuple[NDArray, NDArray]:
    """The path moved onto the maximum of z (minimum, where `sign` is negative), and the signal along it."""
    offsets = np.linspace(-3, 3, 13)
    across = sign * _cross_sections(z, path, offsets)
    strength = max(float(np.mean(across[:, 5:8])), 0.2)
    # A running mean along the path, the longer the fainter the fibre.
    run = int(np.clip((3 / strength) ** 2, 5, 41)) | 1
    smoothed = _running_mean(across, min(run, len(path) | 1))
    three = smoothed[:, :-2] + smoothed[:, 1:-1] + smoothed[:, 2:]
    best = np.argmax(three, axis=1) + 1
    around = np.clip(best[:, None] + np.arange(-3, 4), 0, len(offsets) - 1)
    weight = np.maximum(np.take_along_axis(smoothed, around, axis=1), 0) + 1e-6
    shift = (weight * offsets[around]).sum(axis=1) / weight.sum(axis=1)
    shift = _running_mean(shift[:, None], min(run, len(path) | 1))[:, 0]
    moved = path + shift[:, None] * normals(path)
    return moved, sign * _cross_sections(z, moved, np.linspace(-1, 1, 3)).mean(axis=1)


def _is_even(z: NDArray, sign: float, path: NDArray) -> bool:
    """Whether a line's signal lies all along it: what a mark's end or crossing left lies in few places."""
    along = sign * _cross_sections(z, path, np.linspace(-1, 1, 3)).mean(axis=1)
    smoothed = _running_mean(along[:, None], EVEN_RUN)
    return float(np.median(smoothed)) > LEAST_EVEN * float(np.mean(along))


def _running_mean(values: NDArray, run: int) -> NDArray[np.float64]:
    """Means over `run` rows; at the ends over those that exist."""
    half = run // 2
    padded = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    low = np.maximum(np.arange(len(values)) - half, 0)
    high = np.minimum(np.arange(len(values)) + half + 1, len(values))
    return (padded[high] - padded[low]) / (high - low)[:, None]


def _ends(along: NDArray) -> tuple[int, int]:
    """Where the signal along a path begins and ends: cumulated, it exceeds half of its height most."""
    strength = max(float(np.mean(along)), 0.2)
    run = int(np.clip((3 / strength) ** 2, 5, 41)) | 1
    # Of most of its length: it may have been traced far beyond its end.
    height = float(np.percentile(_running_mean(along[:, None], run), HIGH_PERCENT))
    gained = np.concatenate([[0], np.cumsum(along - height / 2)])
    last = int(np.argmax(gained - np.minimum.accumulate(gained)))
    return int(np.argmin(gained[: last + 1])), last


class _Profile(NamedTuple):
    """The profile across a fibre: height in z of the finest cells, width in pixels, and their half intervals."""

    height: float
    width: float
    steepness: float
    half_height: float
    half_width: float
    signal_to_noise: float


NO_PROFILE = _Profile(0.0, 0.0, 2.0, 0.0, 0.0, 0.0)


def _profile(residual: Residual, level: Level | None, line: NDArray, sign: float) -> _Profile:
    """Profile across a line (in pixels) on the cells of a level, or on single pixels where that is None."""
    cell = level.cell_px if level else 1
    offset = level.offset if level else 0.0
    path = (line - offset) / cell
    column, row, away = cells_beside(path, PROFILE_CELLS)
    shape = level.z.shape if level else residual.size[::-1]
    inside = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    column, row, away = column[inside], row[inside], away[inside]
    if level:
        values = level.z[row, column] * CELL_PX / cell
        good = values != 0
    else:
        depth, noise = residual.pixels(column, row)
        strength = residual.strength_at(column, row)
        values, good = depth * strength, np.abs(depth) < np.abs(np.median(depth)) + 8 * noise
    bins = np.rint((away[good] + PROFILE_CELLS) / BIN).astype(int)
    count = np.bincount(bins, minlength=round(2 * PROFILE_CELLS / BIN) + 1).astype(float)
    means = sign * np.bincount(bins, values[good], minlength=len(count)) / np.maximum(count, 1)
    # z is in units of the noise of the finest cells here.
    return _fit_profile(means, count, cell)


def _fit_profile(means: NDArray, count: NDArray, cell: int) -> _Profile:
    """Fit a bar on a constant background: the best of a table of widths, offsets and rims.

    Height and background are fitted for each entry; the widths that fit nearly as well give the interval.
    """
    if count.sum() < 20:
        return NO_PROFILE
    noise = CELL_PX / cell
    profiles = _profile_table()
    mean = profiles @ count / count.sum()
    spread = ((profiles - mean[..., None]) ** 2) @ count
    height = (profiles - mean[..., None]) @ (count * means) / np.maximum(spread, 1e-9)
    misfit = -(height**2) * spread / noise**2
    misfit[height <= 0] = 0.0
    steep, wide, place = np.unravel_index(np.argmin(misfit), misfit.shape)
    by_width = misfit.min(axis=(0, 2))
    nearly = by_width < by_width.min() + NEARLY
    heights = height[steep, nearly].max(axis=1)
    best = float(height[steep, wide, place])
    half_height = np.hypot(NORMAL_95 * noise / np.sqrt(spread[steep, wide, place]), np.ptp(heights) / 2)
    half_width = max(np.ptp(WIDTHS[nearly]) / 2, LEAST_WIDTH_SHARE * WIDTHS[wide])
    matched = best * np.sqrt(spread[steep, wide, place]) / noise
    return _Profile(
        best,
        float(WIDTHS[wide]) * cell,
        PROFILE_STEEPNESS[steep],
        float(half_height),
        half_width * cell,
        float(matched),
    )


def _fibre(residual: Residual, line: NDArray, profile: _Profile, cell: int, sign: float) -> Fibre:
    strength = float(np.mean(residual.strength_at(line[:, 0], line[:, 1])))
    length = float(np.hypot(*np.diff(line, axis=0).T).sum()) + cell
    end_interval = 2 * cell * np.clip(2 * CELL_PX / cell / profile.height, 1, 10)
    return Fibre(
        line,
        profile.steepness,
        Figure.of(profile.width, profile.half_width, "px"),
        Figure.of(length, end_interval, "px"),
        Figure.of(100 * sign * profile.height / strength, 100 * profile.half_height / strength, "%"),
        profile.signal_to_noise,
    )


@functools.cache
def _profile_table() -> NDArray[np.float64]:
    """Profiles of bars with soft rims, shape (steepness, widths, offsets, bins)."""
    offsets = np.arange(-PROFILE_CELLS, PROFILE_CELLS + BIN / 2, BIN)
    # Averaged over the width of a cell.
    inside = np.linspace(-0.4, 0.4, 5)
    steepness, width, place = np.meshgrid(PROFILE_STEEPNESS, WIDTHS, OFFSETS, indexing="ij")
    away = np.abs(offsets[:, None] + inside - place[..., None, None])
    return relative_depth(2 * away / width[..., None, None], steepness[..., None, None]).mean(axis=-1)
