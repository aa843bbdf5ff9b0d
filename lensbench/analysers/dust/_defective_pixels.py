"""Defective pixels, hot and dead, corrected in the residual to what the smooth light would have made them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._expected_light import IndexLight, index_at, sample_at, weights
from lensbench.analysers.numerics.strips import STRIP_ROWS, each_strip
from lensbench.analysers.numerics.surfaces import Surface
from lensbench.shot import Shot

OUTLYING_CELL = 5.0
"""Cells that deviate from their neighbours by more than this, in units of noise, are searched for defective pixels
(chosen by experience)."""

OUTLYING_SAMPLE = 6.0
"""Samples that deviate from their neighbours by more than this, in units of noise, may be defective (chosen by
experience)."""

SIMILAR_SHARE, SIMILAR_LEAST = 0.25, 3.0
"""A neighbour is similar when it deviates by more than this share of the sample's deviation, and by more than this
many units of noise (chosen by experience)."""


def correct_defective_pixels(
    z: NDArray[np.float32],
    flat: Shot,
    lights: dict[int, IndexLight],
    inverse_noise: list[Surface],
    kinds: tuple[int, int],
) -> None:
    """Correct cells with hot or dead samples, in place.

    Parameters
    ----------
    z : ndarray of float32
        Cells of the residual; changed in place.
    flat : Shot
    lights : dict of int to IndexLight
        Expected light of each colour index.
    inverse_noise : list of Surface
        One over the noise of the weighted sum, for each kind of cell.
    kinds : (int, int)
        Kinds of cells down and across.
    """
    rows, columns = _outlying_cells(z)
    around = np.arange(-1, CELL_PX + 1)
    y, x = np.broadcast_arrays(
        CELL_PX * rows[:, None, None] + around[:, None], CELL_PX * columns[:, None, None] + around
    )
    for plane in range(1 if flat.pattern is not None else len(flat.colours)):
        light, share, noise = _deviations_around(flat, lights, x, y, plane)
        cell, *within = np.nonzero(_isolated(share / noise))
        own = cell, *(step + 1 for step in within)
        weight = weights(flat, lights)[index_at(flat, x[own], y[own], plane)]
        excess = share[own] * light[own] * weight
        kind = rows[cell] % kinds[0] * kinds[1] + columns[cell] % kinds[1]
        for number, surface in enumerate(inverse_noise):
            here = kind == number
            at = rows[cell[here]], columns[cell[here]]
            np.add.at(z, at, excess[here] * surface.at(x[own][here], y[own][here]))


def _outlying_cells(z: NDArray[np.float32]) -> tuple[NDArray, NDArray]:
    """Rows and columns of the cells that deviate from the mean of their four neighbours by more than noise."""
    found = []

    def strip(top: int) -> None:
        rows = np.arange(top, min(top + STRIP_ROWS, len(z)))
        own = z[rows]
        # Neighbours are mirrored at the border.
        around = z[np.abs(rows - 1)] + z[len(z) - 1 - np.abs(len(z) - 2 - rows)]
        around[:, 1:] += own[:, :-1]
        around[:, :-1] += own[:, 1:]
        around[:, 0] += own[:, 1]
        around[:, -1] += own[:, -2]
        own -= around / 4
        row, column = np.divmod(np.flatnonzero(np.abs(own) > OUTLYING_CELL), z.shape[1])
        found.append((row + top, column))

    each_strip(strip, range(0, len(z), STRIP_ROWS))
    rows, columns = (np.concatenate(part) for part in zip(*found, strict=True))
    return rows, columns


def _deviations_around(
    flat: Shot, lights: dict[int, IndexLight], x: NDArray, y: NDArray, plane: int
) -> tuple[NDArray, NDArray, NDArray]:
    """The smooth light, deviations from it as a share, and their noise, at pixels in and around cells.

    All of shape (cells, down, across); the smooth light, which differs little over a cell, is that of its centre.
    """
    light, noise = np.ones((2, len(x), len(flat.colours)))
    for number, part in lights.items():
        light[:, number] = part.surface.at(x.mean(axis=(1, 2)), y.mean(axis=(1, 2)))
        noise[:, number] = np.sqrt(part.noise.variance(light[:, number])) / light[:, number]
    index, stored = sample_at(flat, x, y, plane)
    cell = np.arange(len(x))[:, None, None]
    own = light[cell, index]
    return own, (stored - flat.black[index]) * flat.gain[index] / own - 1, noise[cell, index]


def _isolated(significance: NDArray) -> NDArray[np.bool_]:
    """Which pixels of cells deviate with at most one similar neighbour, shape (cells, CELL_PX, CELL_PX).

    Even a shadow one pixel wide darkens two neighbours or more of each of its pixels. The significance, deviation
    over noise, is that of the cells' pixels and the pixels around them.
    """
    windows = np.lib.stride_tricks.sliding_window_view(significance, (3, 3), axis=(1, 2))
    near = np.delete(windows.reshape(*windows.shape[:3], 9), 4, axis=-1)
    near.sort(axis=-1)
    middle = (near[..., 3] + near[..., 4]) / 2
    own = windows[..., 1, 1] - middle
    second = np.where(own > 0, near[..., -2] - middle, middle - near[..., 1])
    return (np.abs(own) > OUTLYING_SAMPLE) & (second < np.maximum(SIMILAR_SHARE * np.abs(own), SIMILAR_LEAST))
