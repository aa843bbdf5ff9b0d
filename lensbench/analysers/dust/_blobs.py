"""Round marks: ellipses with a soft rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._mark_profile import cutoff_radius, relative_depth
from lensbench.analysers.dust._residual import Residual
from lensbench.analysers.numerics.strips import interpolation_matrix, subtract_product
from lensbench.findings import Figure

THINNED_WIDTH = 40
"""Nodes across the width of a mark, at least, between which its shadow is interpolated linearly."""


@dataclass(frozen=True, eq=False)
class Blob:
    """A round mark: depth × exp(−ln 2 · ρ^steepness), the radius ρ being 1 at half depth.

    Attributes
    ----------
    x, y : float
        Its centre in pixels.
    ellipse : ndarray, shape (2, 2)
        Maps a position relative to the centre, in pixels, to a vector of length ρ.
    steepness : float
        Of the rim: 2 is a Gaussian.
    width, length : Figure
        Across and along, at half depth, in pixels.
    depth : Figure
        In percent of the light around, darker positive.
    signal_to_noise : float
        Of the filter matched to it.
    misfit : float
        Sum of squares of the fit's residual beyond noise, over that of the mark itself.
    """

    x: float
    y: float
    ellipse: NDArray[np.float64]
    steepness: float
    width: Figure
    length: Figure
    depth: Figure
    signal_to_noise: float
    misfit: float

    def radius(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """ρ at positions in pixels: 1 at half depth."""
        dx, dy = np.asarray(x) - self.x, np.asarray(y) - self.y
        (a, b), (c, d) = self.ellipse
        return np.hypot(a * dx + b * dy, c * dx + d * dy)

    @property
    def axis(self) -> NDArray[np.float64]:
        """Direction of its length, as a unit vector."""
        return np.linalg.svd(self.ellipse)[2][1]

    @property
    def reach(self) -> float:
        """Distance from its centre at which its shadow ends."""
        return cutoff_radius(self.steepness) * self.length.value / 2

    @property
    def box(self) -> Box:
        """The part of the frame that it changes."""
        return Box(self.x, self.y, self.x, self.y).grown(self.reach + CELL_PX)

    def subtract_from(self, z: NDArray[np.float32], residual: Residual, share: float = 1.0) -> None:
        """Subtract a share of its shadow from cells, in place (-1 adds it back)."""
        box = self.box
        top, bottom = np.clip([box.top // CELL_PX, box.bottom // CELL_PX + 1], 0, z.shape[0]).astype(int)
        left, right = np.clip([box.left // CELL_PX, box.right // CELL_PX + 1], 0, z.shape[1]).astype(int)
        if bottom <= top or right <= left:
            return
        # Wide marks are smooth.
        step = max(int(self.width.value / THINNED_WIDTH / CELL_PX), 1)
        rows, down = _thinned(top, bottom, step)
        columns, across = _thinned(left, right, step)
        x, y = (CELL_PX * v + (CELL_PX - 1) / 2 for v in (columns, rows))
        strength = float(residual.strength_at(self.x, self.y))
        profile = relative_depth(self.radius(x[None, :], y[:, None]), self.steepness)
        shadow = share * self.depth.value / 100 * strength * profile
        subtract_product(z[top:bottom, left:right], down, shadow.astype(np.float32) @ across.T)


def _thinned(start: int, stop: int, step: int) -> tuple[NDArray, NDArray[np.float32]]:
    """Every `step`-th cell, and the weights of interpolation between them, shape (cells, thinned)."""
    count = -(-(stop - start - 1) // step) + 1
    return start + step * np.arange(count), interpolation_matrix(np.arange(stop - start) / step, count)
