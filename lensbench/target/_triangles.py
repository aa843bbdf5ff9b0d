"""Dark triangles on bright paper, recognised and measured by their moments.

The constants are chosen by experience; `tests.bench.finding` shows what they achieve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.filters import threshold_otsu

from lensbench.target._reduced import Reduced

SMALLEST_AREA = 24
"""Regions of fewer blocks are texture, not tiles."""

LARGEST_SHARE = 0.04
"""No tile takes up more of the picture than this."""

MOST_REGIONS = 4000
"""Only so many regions, the largest, are examined: no sheet has so many tiles."""

SPREAD = (9.7, 11.6)
"""Area over the root of the covariance's determinant: √108 = 10.39 in any triangle, 12 in any rectangle, 4π = 12.6
in any ellipse; blur rounds a triangle's corners and brings it nearer to these."""

POINTEDNESS = 0.6
"""Least third moment over a triangle's, of regions whitened to unit covariance; 0 in rectangles and ellipses."""

LEAST_CONTRAST = 0.05
"""A picture with a smaller range of relative light shows nothing."""

WIDEST_FROM_RIGHT_DEG = 35.0
"""Apparent deviation of a tile's right angle from 90°, by perspective and distortion."""


@dataclass(frozen=True, eq=False)
class Triangles:
    """Dark triangles.

    Attributes
    ----------
    corners : ndarray, shape (n, 3, 2)
        In blocks, (x, y); the corner nearest to a right angle first, the others clockwise as seen.
    """

    corners: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.corners)

    @property
    def nodes(self) -> NDArray[np.float64]:
        """Midpoints of the long sides, shape (n, 2)."""
        return self.corners[:, 1:].mean(axis=1)


def find_triangles(picture: Reduced) -> Triangles:
    """Find the dark regions that are triangles with an angle near 90°, none touching the border."""
    dark = picture.relative < ink_level(picture)
    dark &= picture.readable
    regions, _ = ndimage.label(dark)
    number, x, y = _blocks_of_regions(regions)
    if not len(number):
        return Triangles(np.empty((0, 3, 2)))
    corners, spread, pointedness = _triangles_of_moments(number, x, y)
    right = (spread > SPREAD[0]) & (spread < SPREAD[1]) & (pointedness > POINTEDNESS)
    return Triangles(_right_angle_first(corners[right]))


def ink_level(picture: Reduced) -> float:
    """The relative light half-way between ink and paper, by Otsu's threshold over the picture."""
    light = np.clip(picture.relative[::3, ::3], 0, 1.2)
    if np.ptp(light) < LEAST_CONTRAST:
        return 0.5
    return float(np.clip(threshold_otsu(light), 0.35, 0.8))


def _blocks_of_regions(regions: NDArray[np.int32]) -> tuple[NDArray, NDArray, NDArray]:
    """The blocks of regions that have the size of tiles: number of the region from 0, x, y."""
    area = np.bincount(regions.ravel())
    fits = (area >= SMALLEST_AREA) & (area <= LARGEST_SHARE * regions.size)
    fits[0] = False
    for border in (regions[0], regions[-1], regions[:, 0], regions[:, -1]):
        fits[border] = False
    if fits.sum() > MOST_REGIONS:
        fits &= area >= np.sort(area[fits])[-MOST_REGIONS]
    renumbered = np.where(fits, np.cumsum(fits) - 1, -1)
    y, x = np.nonzero(regions)
    number = renumbered[regions[y, x]]
    kept = number >= 0
    return number[kept], x[kept].astype(float), y[kept].astype(float)


def _triangles_of_moments(number: NDArray, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """The triangle that has a region's first, second and third moments.

    Whitened to unit covariance, every triangle becomes the same equilateral one with corners √8 from the middle,
    and its mean of (x + iy)³ is √8³/10 towards a corner.

    Returns
    -------
    corners : ndarray, shape (regions, 3, 2)
    spread, pointedness : ndarray, shape (regions,)
    """
    area = np.bincount(number).astype(float)

    def mean(values: NDArray) -> NDArray:
        return np.bincount(number, values) / area

    middle = np.stack([mean(x), mean(y)], axis=1)
    dx, dy = x - middle[number, 0], y - middle[number, 1]
    # A block is a square, whose own variance is 1/12 each way.
    xx, xy, yy = mean(dx * dx) + 1 / 12, mean(dx * dy), mean(dy * dy) + 1 / 12
    values, axes = np.linalg.eigh(np.stack([np.stack([xx, xy], axis=1), np.stack([xy, yy], axis=1)], axis=1))
    axes *= np.where(np.linalg.det(axes) > 0, 1, -1)[:, None, None] ** np.array([1, 0])
    whitened = (axes[number, 0] * dx[:, None] + axes[number, 1] * dy[:, None]) / np.sqrt(values)[number]
    cubes = (whitened[:, 0] + 1j * whitened[:, 1]) ** 3
    third = mean(cubes.real) + 1j * mean(cubes.imag)
    turns = np.angle(third)[:, None] / 3 + 2 * np.pi / 3 * np.arange(3)
    ends = np.sqrt(8) * np.stack([np.cos(turns), np.sin(turns)], axis=2) * np.sqrt(values)[:, None]
    corners = middle[:, None] + np.einsum("nij,nkj->nki", axes, ends)
    return corners, area / np.sqrt(values.prod(axis=1)), np.abs(third) / (np.sqrt(8) ** 3 / 10)


def _right_angle_first(corners: NDArray) -> NDArray:
    """Triangles with the corner nearest to a right angle first, then clockwise as seen; those with none left out.

    The corners come in with growing angle, which is clockwise as seen where y points down.
    """
    following, before = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    lengths = np.linalg.norm(following, axis=2) * np.linalg.norm(before, axis=2)
    off = np.degrees(np.arcsin(np.clip((following * before).sum(axis=2) / lengths, -1, 1)))
    first = np.abs(off).argmin(axis=1)
    turned = np.take_along_axis(corners, (first[:, None] + np.arange(3))[:, :, None] % 3, axis=1)
    return turned[np.abs(off).min(axis=1) < WIDEST_FROM_RIGHT_DEG]
