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

FAINT = 3e-2
"""Parts of the spectrum that a grid leaves out or folds back are at most this times their frequency in cy/px. They
lie whole cycles a pixel from what they are folded on: the pixels' aliases change a little, no edge's profile."""

NOTHING = 3e-4
"""Frequencies beyond which the response stays under this are left out."""


@dataclass(frozen=True)
class Patch:
    """A rectangle of pixels: its left and top pixel, width and height.

    `drawn` (left, top, right, bottom) are the pixels beyond which an outline is cut off; None where it isn't.
    """

    left: int
    top: int
    width: int
    height: int
    drawn: tuple[int, int, int, int] | None = None


@dataclass(frozen=True)
class Skirt:
    """The far, faint part of diffraction, as a response: amount × (exp(-2πR|ν|) - exp(-4πR|ν|) / 8), R its radius.

    A term exp(-2πR|ν|) is a blur of R / (2π (R² + r²)^1.5). The two together match the kink of a clear pupil's
    response at frequency zero and have no cubic one, so that what remains of the response is compact.
    """

    amount: float
    radius: float

    @classmethod
    def of(cls, surround: Surround, radius: float) -> Skirt | None:
        """The skirt of a pupil; None without diffraction."""
        if surround.cutoff is None:
            return None
        return cls(4 / (np.pi * surround.cutoff) / (2 * np.pi * 0.75 * radius), radius)

    def at(self, frequency: NDArray) -> NDArray:
        """The response."""
        near = np.exp(-2 * np.pi * self.radius * frequency)
        return self.amount * (near - near**2 / 8)


def patch_around(vertices: NDArray[np.float64], margin: int, size: tuple[int, int]) -> Patch | None:
    """The patch that an outline needs, with `margin` pixels around it; None where that misses the frame.

    Outlines are cut off at `margin` beyond the frame's border. There is another margin beyond the cut, since a
    patch's opposite borders touch, and what is blurred over one comes in at the other.
    """
    extent = np.array(size)
    first, last = np.floor(vertices.min(axis=0)), np.ceil(vertices.max(axis=0))
    low, high = np.maximum(first, -margin), np.minimum(last, extent - 1 + margin)
    if (first - margin >= extent).any() or (last + margin < 0).any():
        return None
    left, top = (int(c) for c in low - margin)
    width, height = (_roomy(int(c)) for c in high - low + 1 + 2 * margin)
    drawn = int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1
    return Patch(left, top, width, height, drawn)


def _roomy(extent: int) -> int:
    """A length for a patch's side: few different ones, so that what depends on size alone is kept and shared."""
    step = 48 if extent < 512 else 128
    return fft.next_fast_len(-(-extent // step) * step, real=True)


def blurred_polygon(
    vertices: NDArray, patch: Patch, response: Response, skirt: Skirt | None = None
) -> NDArray[np.float32]:
    """A blurred polygon on the pixels of its patch, 0 to 1, without the skirt.

    Parameters
    ----------
    vertices : ndarray, shape (n, 2)
        The outline in pixels of the frame.
    """
    grid = _grid_for(patch, response)
    # Pixel centres at whole numbers: the patch reaches half a pixel beyond its first one's centre.
    cells = (vertices - [patch.left - 0.5, patch.top - 0.5]) * grid.finer
    (rows, columns), image = _drawn_window(cells, *_drawn_cells(patch, grid.finer))
    fx, fy = grid.frequencies()
    fill = response.surround.fill
    spectrum = fft.rfft(image, n=patch.width * grid.finer, axis=1)[:, : len(fx)]
    spectrum *= _grid_to_pixel(fx, grid.finer, fill, columns.start)
    spectrum = fft.fft(spectrum, n=patch.height * grid.finer, axis=0)[grid.kept_rows()]
    own = response.ratio_on(fx, fy) * _shared(grid, response.surround)
    if skirt is not None:
        own -= np.float32(skirt.amount) * _unit_skirt(grid, skirt.radius)
    spectrum *= own
    spectrum *= _grid_to_pixel(fy, grid.finer, fill, rows.start)[:, None]
    return grid.on_pixels(spectrum)


@dataclass(frozen=True)
class _Grid:
    """The grid that a patch is drawn on: `finer` times finer than its pixels, its spectrum kept up to `band`."""

    width: int
    height: int
    finer: int
    band: float

    def kept_rows(self) -> NDArray[np.int64]:
        """Which rows of the spectrum are kept."""
        return np.flatnonzero(np.abs(np.fft.fftfreq(self.height * self.finer, 1 / self.finer)) < self.band)

    def frequencies(self) -> tuple[NDArray, NDArray]:
        """The two axes of the spectrum, in cy/px."""
        fx = np.fft.rfftfreq(self.width * self.finer, 1 / self.finer)
        fy = np.fft.fftfreq(self.height * self.finer, 1 / self.finer)
        return fx[fx < self.band], fy[self.kept_rows()]

    def on_pixels(self, spectrum: NDArray[np.complex64]) -> NDArray[np.float32]:
        """Read the image of a spectrum at the pixels: frequencies beyond the pixels' own fold back."""
        folded = np.zeros((self.height, spectrum.shape[1]), np.complex64)
        kept = self.kept_rows()
        for turn in range(self.finer):
            part = kept // self.height == turn
            folded[kept[part] % self.height] += spectrum[part]
        rows = fft.ifft(folded, axis=0)
        return fft.irfft(rows, n=self.width * self.finer, axis=1)[:, :: self.finer] / self.finer


def _grid_for(patch: Patch, response: Response) -> _Grid:
    """A grid fine enough for a response, and the band that is worth keeping."""
    frequency, most = response.envelope()
    finer = 4
    for coarser in (3, 2):
        folded = np.minimum(frequency / np.maximum(coarser - frequency, 1e-9), 1.0) ** 5
        if (folded * most / frequency).max() < FAINT:
            finer = coarser
    seen = frequency[most > NOTHING]
    # Coarse steps, so that few different bands share what depends on them.
    band = np.ceil(5 * seen.max() + 0.25) / 5 if len(seen) else 0.2
    return _Grid(patch.width, patch.height, finer, float(min(band, finer / 2)))


def _drawn_cells(patch: Patch, finer: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last cells (x, y) of a patch's grid between which an outline is drawn."""
    if patch.drawn is None:
        return np.zeros(2, int), np.array([patch.width, patch.height]) * finer
    corners = np.array(patch.drawn).reshape(2, 2) - [patch.left, patch.top]
    return corners[0] * finer - 2, corners[1] * finer + 2


def _drawn_window(
    cells: NDArray[np.float64], first: NDArray[np.int64], last: NDArray[np.int64]
) -> tuple[tuple[slice, slice], NDArray[np.float32]]:
    """A smoothed polygon on the part of a grid that it touches, between the cells `first` and `last`."""
    low = np.maximum(np.floor(cells.min(axis=0)).astype(int) - 2, first)
    high = np.maximum(np.minimum(np.ceil(cells.max(axis=0)).astype(int) + 2, last), low)
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    return window, smoothed_polygon(cells - low, (high[1] - low[1], high[0] - low[0]))


@lru_cache(maxsize=64)
def _shared(grid: _Grid, surround: Surround) -> NDArray[np.float32]:
    fx, fy = grid.frequencies()
    if any(surround.motion_px):
        return surround.at(fx, fy[:, None]).astype(np.float32)
    upper, row = np.unique(np.abs(fy), return_inverse=True)
    return surround.at(fx, upper[:, None]).astype(np.float32)[row]


@lru_cache(maxsize=64)
def _unit_skirt(grid: _Grid, radius: float) -> NDArray[np.float32]:
    fx, fy = grid.frequencies()
    upper, row = np.unique(np.abs(fy), return_inverse=True)
    return Skirt(1.0, radius).at(np.hypot(fx, upper[:, None])).astype(np.float32)[row]


def _grid_to_pixel(f: NDArray[np.float64], finer: int, fill: float, start: int) -> NDArray[np.complex64]:
    """Along one axis: smoothing off, the pixel on, from the cells' positions (first at `start`) to the pixels'."""
    shift = 0.5 - (0.5 + start) / finer
    return (np.sinc(f * fill) / smoothing(f / finer) * np.exp(2j * np.pi * f * shift)).astype(np.complex64)


def skirt_on_coarse(outlines: list[NDArray], skirt: Skirt, size: tuple[int, int]) -> CoarseImage:
    """The skirts of all tiles together.

    Parameters
    ----------
    outlines : list of ndarray, shape (n, 2)
        Every tile in the frame or near it, in pixels.
    """
    cell = max(int(skirt.radius // 2), 1)
    border = int(-(-16 * skirt.radius // cell))
    columns, rows = (-(-extent // cell) + 2 * border for extent in size)
    ink = np.zeros((rows, columns), np.float32)
    for outline in outlines:
        window, image = _drawn_window((outline + 0.5) / cell + border, np.zeros(2, int), np.array([columns, rows]))
        ink[window] += image
    shape = [fft.next_fast_len(rows), fft.next_fast_len(columns, real=True)]
    spectrum = fft.rfft2(ink, shape)
    fx, fy = np.fft.rfftfreq(shape[1], cell), np.fft.fftfreq(shape[0], cell)[:, None]
    spectrum *= skirt.at(np.hypot(fx, fy)) / (smoothing(fx * cell) * smoothing(fy * cell))
    spread = fft.irfft2(spectrum, shape)[:rows, :columns]
    return CoarseImage(spline.coefficients(spread), cell, border)


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


def channel_parts(canvas: Shot, channel: str, patch: Patch) -> Iterator[tuple[NDArray, tuple[slice, slice]]]:
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
