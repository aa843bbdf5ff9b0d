"""Light that is uneven at the border: levelled on the grey picture as it came, so that it isn't taken for dirt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import block_means_of_cells, cell_middles
from lensbench.analysers.numerics.rank_filters import maximum_filter, median_filter, reconstruction
from lensbench.analysers.numerics.strips import subtract_product
from lensbench.analysers.numerics.surfaces import Surface
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
    narrow = median_filter(depth, 1)
    if np.abs(narrow[corners]).max(initial=0) <= BORDER_DEPTH:
        # What runs on from the border is nowhere deeper than there.
        return np.zeros(depth.shape, bool), np.zeros(depth.shape, bool)
    # Spots of two blocks, which outlast the narrower median where the border mirrors them, don't the wider.
    own, wide = (
        _border_light(smooth, corners) - _border_light(-smooth, corners)
        for smooth in (narrow, median_filter(depth, 2))
    )
    odd = (np.abs(own) > BORDER_DEPTH) & maximum_filter(np.abs(wide) > BORDER_DEPTH)
    if not odd.any():
        return odd, odd
    odd = maximum_filter(odd)
    off = np.where(odd, own, 0) * strength.on_grid(x, y)
    down, across = (_splines_through(v, cell_middles(n)) for n, v in ((z.shape[0], y), (z.shape[1], x)))
    subtract_product(z, down.astype(np.float32), (off @ across.T).astype(np.float32), keep_zeros=True)
    steps = maximum_filter(own) + maximum_filter(-own)
    return odd, odd & (steps > BORDER_STEP)


def _border_light(depth: NDArray, border: NDArray[np.bool_]) -> NDArray[np.float64]:
    """What can be reached from the border without ever going deeper: the corners' own, without the marks on them.

    What is plainly the skirt of a mark is left to that.
    """
    dark = np.maximum(depth, 0)
    own = reconstruction(dark * border, dark)
    part = np.where(dark > BORDER_DEPTH, np.inf, 0)
    most_of_a_mark, most_own = (reconstruction(np.minimum(v, part), part) for v in (dark - own, own))
    return own * (most_of_a_mark <= SKIRT * most_own)


def _splines_through(blocks: NDArray, places: NDArray) -> NDArray[np.float64]:
    """What each block counts at places, on a cubic spline through all of them, shape (places, blocks).

    The spline is one cubic over the first two pieces and one over the last two ("not-a-knot").
    """

    def basis(x: NDArray) -> NDArray[np.float64]:
        u, knots = ((v - blocks[0]) / (blocks[1] - blocks[0]) for v in (x[:, None], blocks[2:-2]))
        return np.concatenate([u ** np.arange(4), np.maximum(u - knots, 0) ** 3], axis=1)

    return basis(places) @ np.linalg.inv(basis(blocks))
