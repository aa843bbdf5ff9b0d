"""A second image beside the first: the camera moved between two rests, or glass reflects the sheet.

Every edge then has two steps, and how far they lie apart is the displacement's part across the edge: large where
the edge lies across the displacement, none where it lies along it. No lens does that. The autocorrelation of each
edge's line spread has a peak at that distance, whichever of the two images is the stronger.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import LineSpreads
from lensbench.frame import centre_of, half_diagonal
from lensbench.robust import MAD_TO_SIGMA

FAR_PX = 30.0
"""Displacements up to almost this are looked for; by turning, up to twice that at the corners."""

FEWEST_EDGES = 24
"""Edges across a displacement that must show it, and edges of a shot that are needed (chosen by experience)."""

LEAST_APART = 2.0
"""Steps of an edge nearer to each other than so many half-widths of the autocorrelation show as one ..."""

LEAST_SHIFT = 3.0
"""... and a displacement of less than so many is one that blurs: `find_directional_blur` sees it."""

LEAST_SCATTER = 0.002
"""Autocorrelation by noise, relative to its peak, is never taken for less (chosen by experience)."""

MOST_DEVIATION = 3.0
"""Standard deviations at which single edges are cut off, so that no few of them decide."""

LEAST_SCORE, LEAST_PEAK = 6.0, 0.002
"""Standard deviations of the mean edge, and median over the edges of the peak's height, from which there is a
second image (clean shots: study `tests/bench/gauntlet`); three of four edges must show it besides."""

NEARER, HIGHER = 0.7, 1.3
"""The peak must be so many times as high as what lies at this share of its distance: coma's tails only fade."""

COARSE_PX, FINE_PX = 1.0, 0.25
"""Steps of the search, and of what refines it."""


@dataclass(frozen=True)
class DoubleImage:
    """A second image of the whole sheet.

    Attributes
    ----------
    shift_px : (float, float)
        How far it lies from the first, x right, y down; which is the first can't be told. (0, 0) where turned.
    turned_px : float
        How far the corners lie apart where it is turned about the frame's centre; else 0.
    share : float
        The fainter one's share of the light, at least; a half at most.
    edges : int
        How many edges it is seen at.
    """

    shift_px: tuple[float, float]
    turned_px: float
    share: float
    edges: int

    @property
    def length_px(self) -> float:
        """How far the images lie apart, at the corners where one is turned."""
        return self.turned_px or float(np.hypot(*self.shift_px))

    @property
    def angle_deg(self) -> float:
        """The way from one to the other, anticlockwise as seen from x right, 0 to 180."""
        return float(np.degrees(np.arctan2(-self.shift_px[1], self.shift_px[0])) % 180)


def find_double_image(spreads: LineSpreads, size: tuple[int, int]) -> DoubleImage | None:
    """Look for a second image, displaced alike all over the frame or turned about its centre.

    Parameters
    ----------
    spreads : LineSpreads
        Of edges that face all ways, `FAR_PX` to each side.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    DoubleImage or None
        None where there is none, or too few edges.
    """
    if len(spreads) < FEWEST_EDGES:
        return None
    excess = _Excess.of(spreads)
    moves = _Moves.coarse(size, excess.half_width_px)
    score = excess.scores(moves.apart_px(spreads))
    best = int(np.argmax(score))
    if score[best] < LEAST_SCORE:
        return None
    moves = moves.around(best)
    apart = moves.apart_px(spreads)
    peaks = [excess.heights(one) for one in apart]
    height = [np.median(peak) if len(peak) >= FEWEST_EDGES else -np.inf for peak in peaks]
    best = int(np.argmax(height))
    if height[best] < LEAST_PEAK or np.percentile(peaks[best], 25) <= 0:
        return None
    if height[best] < HIGHER * np.median(excess.heights(apart[best], NEARER)):
        return None
    dx, dy, turned = (float(v) for v in moves.parameters[best])
    return DoubleImage((dx, dy), turned, _share(float(height[best])), len(peaks[best]))


def _share(peak: float) -> float:
    """The fainter image's share w of the light: its peak over that about zero is w (1 - w) / (1 - 2 w (1 - w))."""
    product = peak / (1 + 2 * peak)
    return float((1 - np.sqrt(max(1 - 4 * product, 0.0))) / 2)


@dataclass(frozen=True, eq=False)
class _Moves:
    """Displacements (dx, dy, turn in pixels at the corners) to be tried, shape (k, 3)."""

    parameters: NDArray[np.float64]
    size: tuple[int, int]

    @classmethod
    def coarse(cls, size: tuple[int, int], half_width_px: float) -> _Moves:
        """All that can be told from blur: either way is the same."""
        along = np.arange(-FAR_PX, FAR_PX + COARSE_PX / 2, COARSE_PX)
        shifts = np.stack(np.meshgrid(along, along[along >= 0]), axis=-1).reshape(-1, 2)
        length = np.hypot(*shifts.T)
        shifts = shifts[(length > LEAST_SHIFT * half_width_px) & (length < FAR_PX)]
        turns = np.arange(LEAST_SHIFT * half_width_px, 2 * FAR_PX, COARSE_PX)
        return cls(
            np.concatenate([np.pad(shifts, ((0, 0), (0, 1))), np.pad(turns[:, None], ((0, 0), (2, 0)))]), size
        )

    def around(self, best: int) -> _Moves:
        """Finer steps about one of them."""
        near = np.arange(-COARSE_PX, COARSE_PX + FINE_PX / 2, FINE_PX)
        if self.parameters[best, 2]:
            steps = np.pad(near[:, None], ((0, 0), (2, 0)))
        else:
            steps = np.pad(np.stack(np.meshgrid(near, near), axis=-1).reshape(-1, 2), ((0, 0), (0, 1)))
        return _Moves(self.parameters[best] + steps, self.size)

    def apart_px(self, spreads: LineSpreads) -> NDArray[np.float64]:
        """How far they put the two steps of each edge apart, shape (k, n)."""
        x, y = ((spreads.place - centre_of(self.size)) / half_diagonal(self.size)).T
        turned = spreads.normal[:, 0] * y - spreads.normal[:, 1] * x
        return np.abs(self.parameters @ np.stack([*spreads.normal.T, turned]))


@dataclass(frozen=True, eq=False)
class _Excess:
    """What each edge's autocorrelation has beyond the typical edge's, (n, lags), and by how much that scatters."""

    value: NDArray[np.float64]
    scatter: NDArray[np.float64]
    half_width_px: float
    spreads: LineSpreads

    @classmethod
    def of(cls, spreads: LineSpreads) -> _Excess:
        """Of line spreads."""
        # Neighbouring bins share the noise of their border with opposite signs.
        smooth = spreads.spread
        smooth = (np.roll(smooth, 1, axis=1) + 2 * smooth + np.roll(smooth, -1, axis=1)) / 4
        bins = smooth.shape[1]
        power = np.abs(np.fft.rfft(smooth, 2 * bins, axis=1)) ** 2
        correlation = np.fft.irfft(power, axis=1)[:, :bins]
        correlation /= np.maximum(correlation[:, :1], 1e-12)
        lag = np.arange(bins) * spreads.step_px
        seen = np.where(lag < np.maximum(spreads.reach_px, 2.0)[:, None], correlation, np.nan)
        # Edges that face any way make up the typical one: few of them lie across one displacement.
        known = np.isfinite(seen).any(axis=0)
        typical, scatter = np.zeros((2, bins))
        typical[known] = np.nanmedian(seen[:, known], axis=0)
        scatter[known] = MAD_TO_SIGMA * np.nanmedian(np.abs(seen - typical)[:, known], axis=0)
        half = float(np.argmax(typical < 0.5)) * spreads.step_px
        return cls(correlation - typical, np.maximum(scatter, LEAST_SCATTER), half, spreads)

    def _told(self, apart: NDArray) -> NDArray[np.bool_]:
        """Whether steps so far apart can be told from one."""
        return (apart > LEAST_APART * self.half_width_px) & (apart < self.spreads.reach_px - 1)

    def scores(self, apart: NDArray) -> NDArray[np.float64]:
        """Standard deviations by which the mean edge has a peak, (k,); 0 where too few edges can tell."""
        told = self._told(apart)
        lag = np.minimum(np.rint(apart / self.spreads.step_px).astype(int), self.value.shape[1] - 1)
        relative = np.clip(self.value / self.scatter, -MOST_DEVIATION, MOST_DEVIATION)
        total = np.where(told, relative[np.arange(len(relative)), lag], 0.0).sum(axis=1)
        count = told.sum(axis=1)
        return np.where(count >= FEWEST_EDGES, total / np.sqrt(np.maximum(count, 1)), 0.0)

    def heights(self, apart: NDArray, nearer: float = 1.0) -> NDArray[np.float64]:
        """Excess at the distance of the steps, or at a share of it, at the edges whose steps can be told, (m,)."""
        told, lags = self._told(apart), np.arange(self.value.shape[1])
        at = nearer * apart[told] / self.spreads.step_px
        return np.array([np.interp(lag, lags, row) for lag, row in zip(at, self.value[told], strict=True)])
