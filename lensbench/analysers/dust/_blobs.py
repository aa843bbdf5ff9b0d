"""Round marks: ellipses with a soft rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._mark_profile import Profile
from lensbench.analysers.dust._residual import Residual
from lensbench.analysers.numerics.strips import interpolation_matrix, subtract_product
from lensbench.findings import Figure

THINNED_WIDTH = 40
"""Nodes across the width of a mark, at least, between which its shadow is interpolated linearly."""

THINNED_RIM = 8
"""And so many over the steepness, as a steep rim is narrow."""


@dataclass(frozen=True, eq=False)
class Blob:
    """A round mark: depth × its profile of the radius ρ, which is about 1 at half depth.

    Attributes
    ----------
    x, y : float
        Its centre in pixels.
    ellipse : ndarray, shape (2, 2)
        Maps a position relative to the centre, in pixels, to a vector of length ρ.
    profile : Profile
        Of its shadow; see there.
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
    profile: Profile
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
    def steepness(self) -> float:
        """Of the rim: 2 is a Gaussian."""
        return self.profile.steepness

    def shares(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Depth at positions in pixels over that at the centre."""
        dx, dy = np.asarray(x) - self.x, np.asarray(y) - self.y
        (a, b), (c, d) = self.ellipse
        across, down = a * dx + b * dy, c * dx + d * dy
        radius = np.hypot(across, down)
        along = across * self._image_of_axis[0] + down * self._image_of_axis[1]
        cosine = 2 * (along / np.maximum(radius, 1e-9)) ** 2 - 1
        return self.profile.quickly_at(radius, cosine) / float(self.profile.at(np.zeros(1))[0])

    @property
    def _image_of_axis(self) -> NDArray[np.float64]:
        """Where `ellipse` maps the direction of its length, as a unit vector."""
        return np.linalg.svd(self.ellipse)[0][:, 1]

    @property
    def axis(self) -> NDArray[np.float64]:
        """Direction of its length, as a unit vector."""
        return np.linalg.svd(self.ellipse)[2][1]

    @property
    def ends(self) -> NDArray[np.float64]:
        """The ends of its middle line, were it a fibre with round ends, in pixels, shape (2, 2)."""
        half = (self.length.value - self.width.value) / 2 * self.axis
        return np.array([self.x, self.y]) + np.array([-half, half])

    @property
    def reach(self) -> float:
        """Distance from its centre at which its shadow ends."""
        return self.profile.reach * self.length.value / 2

    @property
    def box(self) -> Box:
        """The part of the frame that it changes."""
        return Box(self.x, self.y, self.x, self.y).grown(self.reach + CELL_PX)

    def subtract_from(
        self, z: NDArray[np.float32], residual: Residual, share: float = 1.0, corner: tuple[int, int] = (0, 0)
    ) -> None:
        """Subtract a share of its shadow from cells, in place (-1 adds it back).

        `corner` is the column and row of the first of them.
        """
        box = self.box
        top, bottom = np.clip([box.top // CELL_PX, box.bottom // CELL_PX + 1], 0, z.shape[0] + corner[1]).astype(
            int
        )
        left, right = np.clip([box.left // CELL_PX, box.right // CELL_PX + 1], 0, z.shape[1] + corner[0]).astype(
            int
        )
        top, left = max(top, corner[1]), max(left, corner[0])
        if bottom <= top or right <= left:
            return
        strength = float(residual.strength_at(self.x, self.y))
        part = z[top - corner[1] : bottom - corner[1], left - corner[0] : right - corner[0]]
        subtract_product(part, *self._shadow(top, bottom, left, right, share * strength))

    def _shadow(
        self, top: int, bottom: int, left: int, right: int, factor: float
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Its shadow on cells, times a factor, as a product of two matrices."""
        # Wide marks with soft rims are smooth.
        step = max(int(self.width.value / max(THINNED_WIDTH, THINNED_RIM * self.steepness) / CELL_PX), 1)
        rows, down = _thinned(top, bottom, step)
        columns, across = _thinned(left, right, step)
        x, y = (CELL_PX * v + (CELL_PX - 1) / 2 for v in (columns, rows))
        # A cell's mean, where the shadow may change within it.
        inside = (np.arange(CELL_PX) - (CELL_PX - 1) / 2) if step == 1 else np.zeros(1)
        shares = sum(self.shares(x[None, :] + dx, y[:, None] + dy) for dx in inside for dy in inside)
        shadow = factor * self.depth.value / 100 / inside.size**2 * np.asarray(shares)
        return down, shadow.astype(np.float32) @ across.T


def _thinned(start: int, stop: int, step: int) -> tuple[NDArray, NDArray[np.float32]]:
    """Every `step`-th cell, and the weights of interpolation between them, shape (cells, thinned)."""
    count = -(-(stop - start - 1) // step) + 1
    return start + step * np.arange(count), interpolation_matrix(np.arange(stop - start) / step, count)
