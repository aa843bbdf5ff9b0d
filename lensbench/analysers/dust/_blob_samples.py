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

RIM_SIDES = 1.0
"""Cells lie at the rim when their middles are within so many of their sides of it."""


class Samples(NamedTuple):
    """Samples around a mark: position in px, depth and its noise as shares of the light; each one's side in px."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    depth: NDArray[np.float64]
    noise: NDArray[np.float64]
    side: NDArray[np.float64]


def samples_around(
    blob: Blob,
    residual: Residual,
    z: NDArray[np.float32],
    others: Sequence[Blob | Fibre],
    subtracted: bool,
    *,
    fine_rim: bool = False,
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
    fine_rim : bool
        Whether wide cells at its rim are to be given as the finest ones that they hold.

    Returns
    -------
    Samples
    """
    reach = REACH * blob.length.value / 2 + REACH_PX
    if blob.width.value < PIXELS_BELOW_PX:
        return _pixels(blob, residual, others, reach)
    return _cells(blob, residual, z, subtracted, reach, fine_rim)


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
    return Samples(x[good].astype(float), y[good].astype(float), depth[good], noise[good], np.ones(good.sum()))


def _cells(
    blob: Blob, residual: Residual, z: NDArray[np.float32], subtracted: bool, reach: float, fine_rim: bool
) -> Samples:
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
    radius = blob.radius(x, y)
    chosen = readable & (radius < REACH)
    if not fine_rim:
        return _of_cells(x[chosen], y[chosen], means[chosen], count, residual)
    at_rim = chosen & (np.abs(radius - 1) * blob.width.value / 2 < RIM_SIDES * side)
    wide = chosen & ~at_rim
    part = np.repeat(np.repeat(at_rim, count, axis=0), count, axis=1)
    row, column = np.nonzero(part)
    across, down = (CELL_PX * (v + 0.5) - 0.5 for v in (column + left * count, row + top * count))
    rim = _of_cells(across, down, fine[part], 1, residual)
    rest = _of_cells(x[wide], y[wide], means[wide], count, residual)
    return Samples(*(np.concatenate(pair) for pair in zip(rim, rest, strict=True)))


def _of_cells(x: NDArray, y: NDArray, z: NDArray, count: int, residual: Residual) -> Samples:
    """Cells of so many of the finest each way, with their depth times the light's strength, as samples."""
    strength = residual.strength_at(x, y)
    side = np.full(len(x), float(CELL_PX * count))
    return Samples(x, y, z / strength, 1 / (strength * count), side)
