"""Light that is uneven at the border: levelled on the grey picture as it came, so that it isn't taken for dirt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey_cells import block_means_of_cells, cell_middles
from lensbench.analysers.grey_light import grown_by_one
from lensbench.analysers.strips import take_off
from lensbench.analysers.surface import Surface, median_around
from lensbench.frame import h_of

BORDER_DEPTH = 1.5e-3
"""Departures from round light larger than this share, joined to the frame's border, are the corners' own light."""

BORDER_STEP = 4e-3
"""Where that light changes by more than this share from block to block, dirt can't be told from it."""

SKIRT = 0.7
"""Where a mark stands out by this share of what runs on to the border from there, that is its own skirt."""

CORNERS_H = 0.6
"""How far out of the middle corners begin whose own light may be uneven."""


def level_border(
    z: NDArray[np.float32], strength: Surface, x: NDArray, y: NDArray
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Level wide areas that depart from round light and run out of the frame, in place.

    Rings and barrels that cut the outer pencils darken the corners unevenly. A smear that runs out of the frame
    looks the same, so neither is taken for dirt; what is smaller than a few blocks still shows there, and so does
    a smear with its middle in the frame, by what it is deeper there than on the way to the border.

    Returns
    -------
    levelled, steep : ndarray of bool, shape (len(y), len(x))
        Blocks that were levelled, and those over which the light changes too steeply for that.
    """
    depth = block_means_of_cells(z, x, y) / strength.on_grid(x, y)
    corners = h_of(x[None, :], y[:, None], strength.size) > CORNERS_H
    corners[1:-1, 1:-1] = False
    narrow = median_around(depth, 1)
    if np.abs(narrow[corners]).max(initial=0) <= BORDER_DEPTH:
        # What runs on from the border is nowhere deeper than there.
        return np.zeros(depth.shape, bool), np.zeros(depth.shape, bool)
    # Spots of two blocks, which outlast the narrower median where the border mirrors them, don't the wider.
    own, wide = (
        _border_light(smooth, corners) - _border_light(-smooth, corners)
        for smooth in (narrow, median_around(depth, 2))
    )
    odd = (np.abs(own) > BORDER_DEPTH) & grown_by_one(np.abs(wide) > BORDER_DEPTH)
    if not odd.any():
        return odd, odd
    odd = grown_by_one(odd)
    off = np.where(odd, own, 0) * strength.on_grid(x, y)
    down, across = (_splines_through(v, cell_middles(n)) for n, v in ((z.shape[0], y), (z.shape[1], x)))
    take_off(z, down.astype(np.float32), (off @ across.T).astype(np.float32))
    around = np.lib.stride_tricks.sliding_window_view(np.pad(own, 1, mode="symmetric"), (3, 3))
    return odd, odd & (np.ptp(around, axis=(2, 3)) > BORDER_STEP)


# SciPy and scikit-image take longer to load than a flat takes to search; few flats need them here.


def _border_light(depth: NDArray, border: NDArray[np.bool_]) -> NDArray[np.float64]:
    """What can be reached from the border without ever going deeper: the corners' own, without the marks on them.

    What is plainly the skirt of a mark is left to that.
    """
    from scipy.ndimage import label, maximum
    from skimage.morphology import reconstruction

    dark = np.maximum(depth, 0)
    own = reconstruction(dark * border, dark)
    parts, count = label(dark > BORDER_DEPTH)
    numbers = np.arange(1, count + 1)
    skirts = maximum(dark - own, parts, numbers) > SKIRT * maximum(own, parts, numbers)
    return own * ~np.isin(parts, numbers[skirts])


def _splines_through(blocks: NDArray, places: NDArray) -> NDArray[np.float64]:
    """What each block's value counts at places, shape (places, blocks), on cubic splines through all of them."""
    from scipy.interpolate import make_interp_spline

    return make_interp_spline(blocks, np.eye(len(blocks)), k=3)(places)
