"""What a round mark is measured on: pixels, or cells several to its width, around it, without the other marks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._blob_windows import OUTLYING_PIXEL
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._residual import Residual

REACH, REACH_PX = 2.4, 4.0
"""How far out samples count, in radii at half depth, and so many pixels more."""

PIXELS_BELOW_PX = 16.0
"""Narrower marks are measured on single pixels."""

CELLS_ACROSS = 10
"""Cells to a mark's width at least: fewer blur its rim (chosen by experience)."""


class Samples(NamedTuple):
    """Samples around a mark: position in px, depth and its noise as shares of the light; their side in px."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    depth: NDArray[np.float64]
    noise: NDArray[np.float64]
    side: float


def samples_around(
    blob: Blob, residual: Residual, z: NDArray[np.float32], others: Sequence[Blob | Fibre], subtracted: bool
) -> Samples:
    """The samples of a mark.

    Parameters
    ----------
    blob : Blob
        As found.
    residual : Residual
        For single pixels and the strength of the light.
    z : ndarray of float32
        The finest cells, without the other marks.
    others : list of Blob
        The other marks whose shadows may lie in the same pixels.
    subtracted : bool
        Whether the mark itself is subtracted from `z` too.

    Returns
    -------
    Samples
    """
    reach = REACH * blob.length.value / 2 + REACH_PX
    if blob.width.value < PIXELS_BELOW_PX:
        return _pixels(blob, residual, others, reach)
    return _cells(blob, residual, z, subtracted, reach)


def _pixels(blob: Blob, residual: Residual, others: Sequence[Blob | Fibre], reach: float) -> Samples:
    width, height = residual.size
    left, top = max(int(blob.x - reach), 0), max(int(blob.y - reach), 0)
    x, y = np.meshgrid(
        np.arange(left, min(int(blob.x + reach) + 2, width)), np.arange(top, min(int(blob.y + reach) + 2, height))
    )
    near = (blob.radius(x, y) - REACH) * blob.width.value / 2 < REACH_PX
    x, y = x[near], y[near]
    depth, noise = residual.pixels(x, y)
    # The cells' noise as measured holds for pixels too.
    noise = noise * max(
        float(np.sqrt(np.mean(noise**-2.0) * CELL_PX**2 / np.mean(residual.strength_at(x, y) ** 2))), 1.0
    )
    depth = depth - sum(other.depth.value / 100 * other.shares(x, y) for other in others)
    good = np.abs(depth - np.median(depth)) < OUTLYING_PIXEL * noise
    return Samples(x[good].astype(float), y[good].astype(float), depth[good], noise[good], 1.0)


def _cells(blob: Blob, residual: Residual, z: NDArray[np.float32], subtracted: bool, reach: float) -> Samples:
    # Long marks have more of them.
    across = CELLS_ACROSS * np.sqrt(blob.width.value / blob.length.value)
    count = 2 ** max(int(np.log2(blob.width.value / across)) - 1, 0)
    side = CELL_PX * count
    left, right = (
        int(np.clip(v // side, 0, z.shape[1] // count)) for v in (blob.x - reach, blob.x + reach + side)
    )
    top, bottom = (
        int(np.clip(v // side, 0, z.shape[0] // count)) for v in (blob.y - reach, blob.y + reach + side)
    )
    fine = z[top * count : bottom * count, left * count : right * count].copy()
    readable = (fine != 0).reshape(bottom - top, count, right - left, count).all(axis=(1, 3))
    if subtracted:
        blob.subtract_from(fine, residual, -1.0, (left * count, top * count))
    means = fine.reshape(bottom - top, count, right - left, count).mean(axis=(1, 3), dtype=float)
    x, y = np.meshgrid(*((np.arange(*span) + 0.5) * side - 0.5 for span in ((left, right), (top, bottom))))
    chosen = readable & (blob.radius(x, y) < REACH)
    x, y = x[chosen], y[chosen]
    strength = residual.strength_at(x, y)
    return Samples(x, y, means[chosen] / strength, 1 / (strength * count), float(side))
