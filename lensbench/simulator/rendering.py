"""Print on the sheet to light on the sensor.

Every tile is drawn by itself: its outline on a grid finer than the pixels, smoothed in a known way, gives its
spectrum; the response is applied to that, and the outcome is read at the pixels' centres. Far away from a tile
diffraction leaves a faint skirt, which is the same for all tiles; it is taken out of the tile's own response
and added for all tiles at once on a coarse grid. Tiles add up, being linear in light.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from lensbench.shot import Shot
from lensbench.simulator import spline
from lensbench.simulator.coverage import smoothed_polygon, smoothing
from lensbench.simulator.response import Response, Surround

FAINT = 2e-3
"""Parts of the spectrum that a grid leaves out or folds back are at most this."""


@dataclass(frozen=True)
class Patch:
    """A rectangle of pixels: its left and top pixel, width and height."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True)
class Skirt:
    """The far, faint part of diffraction, as a response of frequency: Σ amount × exp(-2π radius |ν|).

    Each term's blur is amount × radius / (2π (radius² + r²)^1.5). Two terms match the kink of a clear pupil's
    response at frequency zero and leave no cubic one, so what remains of the response is compact.
    """

    amounts: tuple[float, float]
    radii: tuple[float, float]

    @classmethod
    def of(cls, surround: Surround, radius: float) -> Skirt | None:
        """The skirt of a pupil; None without diffraction."""
        if surround.cutoff is None:
            return None
        first = 4 / (np.pi * surround.cutoff) / (2 * np.pi * 0.75 * radius)
        return cls((first, -first / 8), (radius, 2 * radius))

    def at(self, frequency: NDArray) -> NDArray:
        """The response."""
        return sum(a * np.exp(-2 * np.pi * r * frequency) for a, r in zip(self.amounts, self.radii, strict=True))


def patch_around(vertices: NDArray[np.float64], margin: float, size: tuple[int, int]) -> Patch | None:
    """The patch that an outline needs, no farther than `margin` beyond the frame; None where it misses it."""
    low = np.maximum(np.floor(vertices.min(axis=0) - margin), -margin)
    high = np.minimum(np.ceil(vertices.max(axis=0) + margin), np.array(size) - 1 + margin)
    if (high - low < 2 * margin).any():
        return None
    # Few different sizes let the responses of patches be shared.
    width, height = (fft.next_fast_len(int(-(-extent // 16) * 16), real=True) for extent in high - low + 1)
    return Patch(int(low[0]), int(low[1]), width, height)


def blurred_polygon(
    vertices: NDArray, patch: Patch, response: Response, skirt: Skirt | None = None
) -> NDArray[np.float32]:
    """A blurred polygon on the pixels of its patch, 0 to 1, without the skirt.

    Parameters
    ----------
    vertices : ndarray, shape (n, 2)
        The outline in pixels of the frame.
    """
    finer = _finer(response)
    # Pixel centres at whole numbers: the patch reaches half a pixel beyond its first one's centre.
    cells = (vertices - [patch.left - 0.5, patch.top - 0.5]) * finer
    spectrum = fft.rfft2(smoothed_polygon(cells, (patch.height * finer, patch.width * finer)))
    fx, fy = _frequencies(patch.width, patch.height, finer)
    own = response.ratio_on(fx, fy) * _shared(patch.width, patch.height, finer, response.surround)
    if skirt is not None:
        own -= _skirt_on(patch.width, patch.height, finer, skirt)
    spectrum *= own
    spectrum *= _grid_to_pixel(patch.height, finer, response.surround.fill)[:, None]
    spectrum *= _grid_to_pixel(patch.width, finer, response.surround.fill)[: len(fx)]
    folded = spectrum.reshape(finer, patch.height, len(fx)).sum(axis=0) / finer
    rows = fft.ifft(folded, axis=0)
    return fft.irfft(rows, n=patch.width * finer, axis=1)[:, ::finer]


def _finer(response: Response) -> int:
    """How many times finer than the pixels the grid must be."""
    frequency, most = response.envelope()
    for finer in (2, 3):
        folded = np.minimum(frequency / np.maximum(finer - frequency, 1e-9), 1.0) ** 5
        if (folded * most).max() < FAINT:
            return finer
    return 4


def _frequencies(width: int, height: int, finer: int) -> tuple[NDArray, NDArray]:
    """The two frequency axes of a patch's spectrum, in cy/px."""
    return np.fft.rfftfreq(width * finer, 1 / finer), np.fft.fftfreq(height * finer, 1 / finer)


@lru_cache(maxsize=64)
def _shared(width: int, height: int, finer: int, surround: Surround) -> NDArray[np.float32]:
    fx, fy = _frequencies(width, height, finer)
    return surround.at(fx, fy[:, None]).astype(np.float32)


@lru_cache(maxsize=64)
def _skirt_on(width: int, height: int, finer: int, skirt: Skirt) -> NDArray[np.float32]:
    fx, fy = _frequencies(width, height, finer)
    return skirt.at(np.hypot(fx, fy[:, None])).astype(np.float32)


@lru_cache(maxsize=64)
def _grid_to_pixel(count: int, finer: int, fill: float) -> NDArray[np.complex64]:
    """Along one axis: smoothing off, the pixel on, from the first cell's centre to the first pixel's."""
    f = np.fft.fftfreq(count * finer, 1 / finer)
    shift = 0.5 - 0.5 / finer
    factor = np.sinc(f * fill) / smoothing(f / finer) * np.exp(2j * np.pi * f * shift)
    # At the highest frequency of an even grid a shift has no meaning.
    return np.where(np.abs(f) < finer / 2, factor, 0).astype(np.complex64)


def skirt_on_coarse(outlines: list[NDArray], skirt: Skirt, size: tuple[int, int]) -> CoarseImage:
    """The skirts of all tiles together.

    Parameters
    ----------
    outlines : list of ndarray, shape (n, 2)
        Every tile in the frame or near it, in pixels.
    """
    cell = max(int(skirt.radii[0] // 2), 1)
    border = int(-(-16 * skirt.radii[0] // cell))
    columns, rows = (-(-extent // cell) + 2 * border for extent in size)
    ink = np.zeros((rows, columns), np.float32)
    for outline in outlines:
        _add_outline(ink, (outline + 0.5) / cell + border)
    shape = [fft.next_fast_len(rows), fft.next_fast_len(columns, real=True)]
    spectrum = fft.rfft2(ink, shape)
    fx, fy = np.fft.rfftfreq(shape[1], cell), np.fft.fftfreq(shape[0], cell)[:, None]
    spectrum *= skirt.at(np.hypot(fx, fy)) / (smoothing(fx * cell) * smoothing(fy * cell))
    spread = fft.irfft2(spectrum, shape)[:rows, :columns]
    return CoarseImage(spline.coefficients(spread), cell, border)


def _add_outline(ink: NDArray[np.float32], cells: NDArray[np.float64]) -> None:
    """Add an outline to a grid, at the rectangle around it only."""
    low = np.maximum(np.floor(cells.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(cells.max(axis=0)).astype(int) + 2, ink.shape[::-1])
    if (high > low).all():
        window = ink[low[1] : high[1], low[0] : high[0]]
        window += smoothed_polygon(cells - low, window.shape)


@dataclass(frozen=True, eq=False)
class CoarseImage:
    """A smooth image on cells of several pixels, as the coefficients of a spline."""

    coefficients: NDArray[np.float64]
    cell: int
    border: int

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float32]:
        """Read at the pixels of two axes, shape (len(y), len(x))."""
        rows, columns = self.coefficients.shape
        down = spline.weights((y + 0.5) / self.cell - 0.5 + self.border, rows).astype(np.float32)
        across = spline.weights((x + 0.5) / self.cell - 0.5 + self.border, columns).astype(np.float32)
        return down @ (across @ self.coefficients.astype(np.float32).T).T


def channel_parts(canvas: Shot, channel: str, patch: Patch) -> Iterator[tuple[NDArray, NDArray]]:
    """Where a patch meets the samples of a channel.

    Yields
    ------
    samples, taken : ndarray (a view of the canvas), tuple of slices
        Such that `samples += image[taken]` adds an image of the patch.
    """
    width, height = canvas.size
    for samples, first, step, _ in canvas.sublattices(channel):
        x0, x1 = _steps(first[0], step[0], patch.left, min(patch.left + patch.width, width))
        y0, y1 = _steps(first[1], step[1], patch.top, min(patch.top + patch.height, height))
        if x1 > x0 and y1 > y0:
            left, top = first[0] + step[0] * x0 - patch.left, first[1] + step[1] * y0 - patch.top
            taken = (
                slice(top, top + step[1] * (y1 - y0), step[1]),
                slice(left, left + step[0] * (x1 - x0), step[0]),
            )
            yield samples[y0:y1, x0:x1], taken


def _steps(first: int, step: int, low: int, high: int) -> tuple[int, int]:
    """The range of k with max(low, 0) ≤ first + step k < high."""
    return max(-((first - max(low, 0)) // step), 0), max(-((first - high) // step), 0)
