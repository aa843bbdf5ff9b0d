"""Uneven light at the frame's border: subtracted from the residual, so that it isn't reported as dirt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import block_means_of_cells, cell_centres
from lensbench.analysers.numerics.rank_filters import maximum_filter, median_filter, reconstruction
from lensbench.analysers.numerics.strips import subtract_product
from lensbench.analysers.numerics.surfaces import Surface
from lensbench.frame import h_of

BORDER_DEPTH = 1.5e-3
"""Deviations from symmetric light larger than this share and connected to the frame's border are vignetting of the
corners (chosen by experience)."""

BORDER_STEP = 4e-3
"""Where that light changes by more than this share from block to block, dirt can't be distinguished from it
(chosen by experience)."""

SKIRT = 0.7
"""Where a mark's peak is more than this share of what is connected from there to the border, that part is the
mark's own skirt (chosen by experience)."""

CORNERS_H = 0.6
"""h at which the corners begin whose light may be uneven."""


def level_border(
    z: NDArray[np.float32], strength: Surface, x: NDArray, y: NDArray
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Subtract, in place, wide areas that deviate from symmetric light and extend beyond the frame.

    Rings and barrels that cut the outer pencils darken the corners unevenly. A smear that extends beyond the frame
    looks the same, so neither is reported as dirt. Marks smaller than a few blocks are still found there, and so
    is a smear with its peak within the frame, by its depth above the deepest level connected to the border.

    Parameters
    ----------
    z : ndarray of float32
        Cells of the residual; changed in place.
    strength : Surface
        Signal to noise of a whole cell's light.
    x, y : ndarray
        Centres of the blocks, in pixels.

    Returns
    -------
    levelled, steep : ndarray of bool, shape (len(y), len(x))
        Blocks that were levelled, and those of them whose gradient is too steep for that.
    """
    depth = block_means_of_cells(z, x, y) / strength.on_grid(x, y)
    corners = h_of(x[None, :], y[:, None], strength.size) > CORNERS_H
    corners[1:-1, 1:-1] = False
    narrow = median_filter(depth, 1)
    if np.abs(narrow[corners]).max(initial=0) <= BORDER_DEPTH:
        # What is connected to the border is nowhere deeper than there.
        return np.zeros(depth.shape, bool), np.zeros(depth.shape, bool)
    # Spots of two blocks at the border, where they are mirrored, pass the narrower median but not the wider.
    own, wide = (
        _border_light(smooth, corners) - _border_light(-smooth, corners)
        for smooth in (narrow, median_filter(depth, 2))
    )
    levelled = (np.abs(own) > BORDER_DEPTH) & maximum_filter(np.abs(wide) > BORDER_DEPTH)
    if not levelled.any():
        return levelled, levelled
    levelled = maximum_filter(levelled)
    uneven = np.where(levelled, own, 0) * strength.on_grid(x, y)
    down, across = (_splines_through(v, cell_centres(n)) for n, v in ((z.shape[0], y), (z.shape[1], x)))
    subtract_product(z, down.astype(np.float32), (uneven @ across.T).astype(np.float32), keep_zeros=True)
    steps = maximum_filter(own) + maximum_filter(-own)
    return levelled, levelled & (steps > BORDER_STEP)


def _border_light(depth: NDArray, border: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Depth connected to the border by a path that is nowhere shallower: the corners' own, without marks on them.

    The skirts of marks are excluded.
    """
    dark = np.maximum(depth, 0)
    own = reconstruction(dark * border, dark)
    part = np.where(dark > BORDER_DEPTH, np.inf, 0)
    most_of_a_mark, most_own = (reconstruction(np.minimum(v, part), part) for v in (dark - own, own))
    return own * (most_of_a_mark <= SKIRT * most_own)


def _splines_through(blocks: NDArray, positions: NDArray) -> NDArray[np.float64]:
    """Weights of the blocks in a cubic spline through all of them, shape (positions, blocks).

    It has the "not-a-knot" end condition. (Written out, as SciPy takes too long to import.)
    """

    def basis(x: NDArray) -> NDArray[np.float64]:
        u, knots = ((v - blocks[0]) / (blocks[1] - blocks[0]) for v in (x[:, None], blocks[2:-2]))
        return np.concatenate([u ** np.arange(4), np.maximum(u - knots, 0) ** 3], axis=1)

    return basis(positions) @ np.linalg.inv(basis(blocks))
