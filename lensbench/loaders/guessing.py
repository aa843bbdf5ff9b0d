"""What a shot seems to show, from the picture's own statistics: a guess that the user confirms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot

OVERVIEW = 300
"""Width in cells of the small picture that is looked at."""

DARK = 0.01
"""A frame whose brightest parts have less than this of the full scale was taken with the cap on."""

LEAST_LIGHT = 0.05
"""Darker frames than this are too dark to tell a sheet from another."""

FLAT_STEP = 0.08
"""Nearly all neighbouring cells of an even light differ by less than this part, dirt and all."""

EDGE_STEP = 0.3
"""Somewhere a picture with an edge in it changes by more than this from cell to cell."""

LIT = 0.03
"""Cells with less than this share of the brightest light lie outside the image circle, in mere noise."""

LEAST_TILES = 12
"""Black triangles of like size that make a target of a picture."""

LEAST_CELLS = 6
"""Smaller patches are specks."""

TILED = 0.04, 0.35
"""Limits of the share of a target's picture that is black."""

TRIANGLE_SPREAD = 2 / 9
"""Second moment over the area squared of a right-angled isosceles triangle (of a disc 0.16, a square 0.17)."""

SPREAD_TOLERANCE = 0.04
"""How far blur, cells and a slanting view may take it."""


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


def why_no_even_light(shot: Shot) -> str | None:
    """Say why a shot that should show an even light plainly shows something else.

    Parameters
    ----------
    shot : Shot
        Any shot.

    Returns
    -------
    str or None
        What it shows instead, to follow the file's name; None where it may well be an even light. An image circle
        that does not reach the corners, a barrel's shadow and coarse dirt are no reasons: they touch few cells.
    """
    small = overview(shot)
    if _has_tiles(small):
        return "shows the set-square target, not an even light."
    lit = small > LIT * np.percentile(small, 99)
    lit_steps = [
        step[np.minimum(*pair) > 0]
        for step, pair in zip(_steps(small), _neighbours(lit.astype(np.int8)), strict=True)
    ]
    steps = np.concatenate(lit_steps)
    if steps.size and np.percentile(steps, 95) > FLAT_STEP:
        return "shows a picture full of detail, not an even light."
    return None


def why_no_darkness(shot: Shot) -> str | None:
    """Say why a shot that should have been taken with the cap on was not; None where it may well have been."""
    light = float(np.median(overview(shot)))
    if light > LEAST_LIGHT:
        return f"is no dark frame: half of it has more than {100 * light:.0f} % of the full scale of light."
    return None


def overview(shot: Shot) -> NDArray[np.float32]:
    """A small picture of the reference channel's light, 1 at full scale, without noise and single pixels."""
    part = next(shot.sublattices(shot.reference))
    height, width = part.samples.shape
    side = max(1, width // OVERVIEW)
    rows, columns = height // side, width // side
    # Three lines of each cell are enough, and read three lines only.
    lines = np.unique(np.linspace(0, side - 1, 3).astype(int))
    cells = part.samples[: rows * side, : columns * side].reshape(rows, side, columns, side)[:, lines]
    return shot.light(cells.mean(axis=(1, 3)), part.colour_index) / np.float32(shot.full_scale(shot.reference))


def _is_even(small: NDArray) -> bool:
    """Whether light changes but slowly nearly everywhere, and nowhere as at an edge."""
    steps = np.concatenate([step.ravel() for step in _steps(small)])
    return bool(np.percentile(steps, 99.5) < FLAT_STEP and steps.max() < EDGE_STEP)


def _steps(small: NDArray) -> list[NDArray]:
    """By what part each cell differs from the next one to the right, and from the next one below."""
    smooth = np.log(np.maximum(np.median(_around(small, 1), axis=-1), 1e-6))
    return [np.abs(first - second) for first, second in _neighbours(smooth)]


def _neighbours(cells: NDArray) -> list[tuple[NDArray, NDArray]]:
    """Each cell with the next one to the right, and each with the next one below."""
    return [(cells[:, :-1], cells[:, 1:]), (cells[:-1], cells[1:])]


def _has_tiles(small: NDArray) -> bool:
    """Whether the picture is white with many separate black triangles, most of them of like size."""
    if (small < 0.5 * small.max()).mean() <= TILED[0]:
        return False
    around = np.percentile(_around(small[::4, ::4], 7), 85, axis=-1)
    black = small < 0.5 * _stretched(_stretched(around, small.shape[1]).T, small.shape[0]).T
    if not TILED[0] < black.mean() < TILED[1]:
        return False
    area, spread = _patches(black)
    if area.size < LEAST_TILES:
        return False
    alike = np.abs(np.log(area / np.median(area))) < np.log(2.5)
    tiles = alike & (np.abs(spread - TRIANGLE_SPREAD) < SPREAD_TOLERANCE)
    return bool(tiles.sum() >= LEAST_TILES and area[tiles].sum() > 0.5 * black.sum())


def _around(cells: NDArray, reach: int) -> NDArray:
    """Each cell with its neighbours, `reach` to every side, along a last axis; at the rim the nearest stand in."""
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(cells, reach, mode="edge"), (2 * reach + 1,) * 2)
    return windows.reshape(*cells.shape, -1)


def _stretched(lines: NDArray, length: int) -> NDArray:
    """Lines of another length, from end to end, with straight lines between."""
    places = np.linspace(0, lines.shape[1] - 1, length)
    return np.stack([np.interp(places, np.arange(lines.shape[1]), line) for line in lines])


def _patches(black: NDArray[np.bool_]) -> tuple[NDArray, NDArray]:
    """Area of each connected patch in cells, and its second moment about its middle over the area squared."""
    # SciPy takes long to load; most pictures are known without.
    from scipy import ndimage

    labels, _ = ndimage.label(black)
    y, x = np.nonzero(black)
    patch = labels[y, x] - 1
    area = np.bincount(patch)
    moment = np.zeros(len(area))
    for place in (x.astype(float), y.astype(float)):
        middle = np.bincount(patch, place) / area
        # A cell's own width adds a twelfth.
        moment = moment + np.bincount(patch, (place - middle[patch]) ** 2) + area / 12
    seen = area >= LEAST_CELLS
    return area[seen], (moment / area.astype(float) ** 2)[seen]
