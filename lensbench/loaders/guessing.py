"""What a shot seems to show, from the picture's own statistics: a guess that the user confirms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lensbench.shot import Shot

OVERVIEW = 300
"""Width in cells of the small picture that is looked at."""

DARK = 0.01
"""A frame whose brightest parts have less than this of the full scale was taken with the cap on."""

LEAST_LIGHT = 0.05
"""Darker frames than this are too dark to tell a sheet from another."""

FLAT_STEP = 0.08
"""Neighbouring cells of an even light differ by less than this, dirt and all."""

LEAST_TILES = 12
"""Black patches of like size that make a target of a picture."""


def guess_shows(shot: Shot) -> str | None:
    """Guess whether a shot shows the target, an even light or darkness.

    Parameters
    ----------
    shot : Shot
        Any shot.

    Returns
    -------
    {'target', 'flat', 'dark'} or None
        None where the picture is none of these beyond doubt.
    """
    small = overview(shot)
    bright = np.percentile(small, 99)
    if bright < DARK:
        return "dark"
    if bright < LEAST_LIGHT:
        return None
    if _is_even(small):
        return "flat"
    return "target" if _has_tiles(small) else None


def overview(shot: Shot) -> NDArray[np.float32]:
    """A small picture of the reference channel's light, 1 at full scale, without noise and single pixels."""
    part = next(shot.sublattices(shot.reference))
    height, width = part.samples.shape
    side = max(1, width // OVERVIEW)
    rows, columns = height // side, width // side
    # Three lines of each cell are enough, and read three lines only.
    lines = np.unique(np.linspace(0, side - 1, 3).astype(int))
    cells = part.samples[: rows * side, : columns * side].reshape(rows, side, columns, side)[:, lines]
    return shot.light(cells.mean(axis=(1, 3)), part.index) / np.float32(shot.full_scale(shot.reference))


def _is_even(small: NDArray) -> bool:
    """Whether light changes but slowly over nearly the whole picture."""
    smooth = np.log(np.maximum(ndimage.median_filter(small, 3, mode="nearest"), 1e-6))
    return all(np.percentile(np.abs(np.diff(smooth, axis=axis)), 99.5) < FLAT_STEP for axis in (0, 1))


def _has_tiles(small: NDArray) -> bool:
    """Whether the picture is white with many separate black patches, most of them of like size."""
    around = ndimage.percentile_filter(small[::4, ::4], 85, size=15)
    white = ndimage.zoom(around, np.array(small.shape) / around.shape, order=1)
    black = small < 0.5 * white
    labels, count = ndimage.label(black)
    if count < LEAST_TILES or not 0.04 < black.mean() < 0.35:
        return False
    areas = np.bincount(labels.ravel())[1:]
    areas = areas[areas >= 6]
    if areas.size < LEAST_TILES:
        return False
    alike = areas[(areas > np.median(areas) / 2.5) & (areas < np.median(areas) * 2.5)]
    return alike.size >= LEAST_TILES and alike.sum() > 0.6 * black.sum()
