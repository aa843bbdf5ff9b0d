"""Dirt marks: the shadows of dust, fibres and smears in an even light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import CELL_PX, STRIP_CELLS, GreyPicture, each_strip, grey_picture
from lensbench.analysers.mark_shape import Shape, fit_shape
from lensbench.findings import Dust, Mark
from lensbench.frame import zone_of
from lensbench.shot import Shot

THRESHOLD = 5.7
"""Least signal to noise of a mark: noise alone passes it less than once in ten frames of 24 megapixels."""

LEAST_DEPTH = {"spot": 0.2, "fibre": 0.2, "patch": 0.4}
"""Shallower marks (in percent) show in no picture, and large ones are likelier unevenness of the light."""

LEAST_WIDTH_PX = 3.0
"""Whatever is sharper than this is the sensor's own."""

PATCH_PX = 100.0
"""Spots wider than this are patches."""

FIBRE_ASPECT = 3.0
"""Marks longer than this many widths are fibres."""

COARSEST_CELLS = 10
"""The coarsest grid has at least this many cells along the frame's shorter side."""


@dataclass(frozen=True)
class Candidate:
    """A place where a matched filter answers: pixels, signal to noise (dark positive), and the filter's size."""

    x: float
    y: float
    signal: float
    sigma_px: float


def find_marks(flat: Shot) -> Dust:
    """Find the dirt marks of one flat.

    Parameters
    ----------
    flat : Shot
        An even light through the lens.

    Returns
    -------
    Dust
        Marks of 5 px and wider, the plainest (highest signal to noise) first.
    """
    picture = grey_picture(flat)
    levels = _levels(picture)
    found: list[tuple[Mark, Shape]] = []
    for candidate in _ranked(levels):
        if any(shape.covers(candidate.x, candidate.y) for _, shape in found):
            continue
        shape = fit_shape(levels, picture, candidate)
        if shape is None or any(other.covers(shape.x, shape.y) for _, other in found):
            continue
        mark = _mark(shape, picture.size)
        if mark is not None:
            found.append((mark, shape))
    marks = [mark for mark, _ in found]
    return Dust(sorted(marks, key=lambda mark: -mark.signal_to_noise))


def _mark(shape: Shape, size: tuple[int, int]) -> Mark | None:
    """What is reported of a shape; None where it is no dirt mark."""
    long = shape.length.value >= FIBRE_ASPECT * shape.width.value
    kind = "fibre" if long else "patch" if shape.width.value >= PATCH_PX else "spot"
    if abs(shape.depth.value) < LEAST_DEPTH[kind] or shape.length.value < LEAST_WIDTH_PX:
        return None
    if shape.signal_to_noise < THRESHOLD:
        return None
    x, y = float(np.clip(shape.x, 0, size[0] - 1)), float(np.clip(shape.y, 0, size[1] - 1))
    return Mark(x, y, kind, shape.width, shape.length, shape.depth, shape.signal_to_noise, zone_of(x, y, size))


# -- grids and filters ----------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Level:
    """The grey picture binned to cells of `cell_px`, each in units of its noise."""

    cell_px: int
    z: NDArray[np.float32]

    def place(self, row: float, column: float) -> tuple[float, float]:
        """Pixel (x, y) of a cell."""
        offset = (self.cell_px - 1) / 2
        return column * self.cell_px + offset, row * self.cell_px + offset


def _levels(picture: GreyPicture) -> list[Level]:
    """The picture and its halvings, down to the coarsest grid."""
    levels = [Level(CELL_PX, picture.z)]
    while min(levels[-1].z.shape) >= 2 * COARSEST_CELLS:
        last = levels[-1]
        rows, columns = (length // 2 * 2 for length in last.z.shape)
        pairs = last.z[0:rows:2, :columns] + last.z[1:rows:2, :columns]
        levels.append(Level(2 * last.cell_px, (pairs[:, 0::2] + pairs[:, 1::2]) / 2))
    return levels


def _ranked(levels: list[Level]) -> list[Candidate]:
    """Peaks of all filters on all grids, the strongest first."""
    peaks = [peak for level in levels for peak in _peaks(level)]
    return sorted(peaks, key=lambda peak: -abs(peak.signal))


def _peaks(level: Level) -> list[Candidate]:
    """Peaks of the two filters of one grid, of standard deviations 0.71 and 1.0 cell."""
    z, peaks = level.z, []
    narrow = np.empty_like(z)
    wide = np.empty_like(z)

    def strip(top: int) -> None:
        bottom = min(top + STRIP_CELLS, len(z))
        first, last = max(top - 2, 0), min(bottom + 2, len(z))
        part = _smoothed(z[first:last])
        narrow[top:bottom] = part[top - first : bottom - first] * np.float32(16 / 6)
        wide[top:bottom] = _smoothed(part)[top - first : bottom - first] * np.float32(256 / 70)

    each_strip(strip, range(0, len(z), STRIP_CELLS))
    for answer, sigma in ((narrow, np.sqrt(0.5)), (wide, 1.0)):
        thin = answer[:: max(len(answer) // 200, 1)]
        spread = max(1.4826 * float(np.median(np.abs(thin - np.median(thin)))), 1.0)
        rows, columns = _maxima(answer, THRESHOLD * spread)
        for row, column in zip(rows, columns, strict=True):
            x, y = level.place(row, column)
            peaks.append(Candidate(x, y, float(answer[row, column]) / spread, sigma * level.cell_px))
    return peaks


def _smoothed(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """Averaged with neighbours by ¼ ½ ¼ both ways; the borders repeat."""
    out = z.copy()
    out[1:-1] += (z[:-2] + z[2:]) / 2
    out[0] += (z[0] + z[min(1, len(z) - 1)]) / 2
    out[-1] += (z[-1] + z[max(-2, -len(z))]) / 2
    across = out.copy()
    across[:, 1:-1] += (out[:, :-2] + out[:, 2:]) / 2
    across[:, 0] += (out[:, 0] + out[:, 1]) / 2
    across[:, -1] += (out[:, -1] + out[:, -2]) / 2
    across *= np.float32(0.25)
    return across


def _maxima(answer: NDArray[np.float32], threshold: float) -> tuple[NDArray, NDArray]:
    """Rows and columns of the cells past the threshold, dark or bright, that no neighbour surpasses."""
    rows, columns = np.nonzero(np.abs(answer) > threshold)
    own = np.abs(answer[rows, columns])
    top = np.ones(len(rows), bool)
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            near = np.clip(rows + down, 0, len(answer) - 1), np.clip(columns + across, 0, answer.shape[1] - 1)
            top &= own >= np.abs(answer[near])
    return rows[top], columns[top]
