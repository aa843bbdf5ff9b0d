"""How each tile of the target is turned and twisted, and where its corners then lie.

The twists are chosen so that a tile's edges sample well between the pixels: see `sampling_gap`.
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import maximum_filter1d

LEG_OVER_PITCH = 0.56
"""Length of a tile's legs over the distance of neighbouring nodes."""

TWISTS_DEG = np.arange(2.0, 6.25, 0.5)
"""The twists that are tried for every tile, either way."""

CAMERA_TURN_DEG = 3.0
"""Camera turn, either way, over which the edges must sample well (chosen by experience)."""

USABLE_LEG_PX = 130
"""Straight part of a leg between the blurred corners, for the choice of twists (24 megapixels, fine lattice)."""

PATTERN = (
    "#....#...##.#.###..#....#..##..",
    "#.###..###.#########..####...#.",
    ".##...##..#.##.##.##.#.#...##.#",
    "#....#.###.##.#..##.#.##..##.#.",
    "#.#.#.##....#.##.#.###.###.####",
    "#.###..#..#.#......###.#.##....",
    "....#..#....#.#.....#..#.#..#.#",
    "###.##.##.##.##.#..#####....#.#",
    "###.######..#....###.##..##..##",
    "...#..###.....####..#.##.####.#",
    "#.##.###.#.#..#.#..#####.#.##..",
    "##...##.#...#.#..##.#.#.......#",
    ".##.###.##...#..#.###..##.#..##",
    ".#.#.#......##.#....#..###....#",
    ".#...##..###.###..###........##",
    "...#.##....###.####..###.#####.",
    "#.#.#.#.....#.#.##.##.#......##",
    ".#...###..#.......#.##..#..##..",
    ".....#..####....##.....###.##..",
    "........#......#.#######..##.#.",
    "#..######.#####..#.###......#..",
    "##..######.#.###.###.....#.#.##",
    "#...##.##.##..#..####....#.#..#",
    ".###.#.###.####.#######.##...##",
    ".....###.####.##.#.#...........",
    ".#.##.#####..###.##.#.##..##.#.",
    "..##...#..###.......#####..#..#",
    "...#.#...#..#...####.#.####.###",
    "#..#######..#.#.#.#...#..###...",
    "###..#.###....##.....##.#.##.##",
    "..#.#..#.#....##.#..#.#.####...",
)
"""Which tiles are turned half round, around the middle node.

Random-looking, then bits turned until every 4 × 4 tiles with their directions were unlike every other under all
shifts, quarter turns and mirroring: the mean cosine between the directions of two like-placed windows stays under
0.76 within 12 steps from the middle, 0.84 to the rim (1 would be the same).
"""


def tile_corners(across: NDArray[np.int64], down: NDArray[np.int64], lattice: str) -> NDArray[np.float64]:
    """Corners of tiles in a lattice's order (right angle, along the radius, across it).

    Parameters
    ----------
    across, down : ndarray of int, shape (tiles,)
        Whole steps from the middle node.
    lattice : str
        ``fine`` or ``coarse``.

    Returns
    -------
    ndarray, shape (tiles, 3, 2)
        In pitches from the middle node, x right, y down.
    """
    middle = len(PATTERN) // 2
    # The coarse lattice's tiles are turned the other way, so that neither lattice can be mistaken for the other.
    turned = "#" if lattice == "fine" else "."
    pattern = np.array([[mark == turned for mark in line] for line in PATTERN])
    side = np.where(pattern[down + middle, across + middle], 1.0, -1.0)[:, None] * LEG_OVER_PITCH
    # The middle node has no radius; arctan2 gives it the one to the right.
    turn = np.arctan2(down, across) + np.radians(_twists_deg()[down + middle, across + middle])
    along = side * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    across_radius = side * np.stack([-np.sin(turn), np.cos(turn)], axis=1)
    right_angle = np.stack([across, down], axis=1) - (along + across_radius) / 2
    return np.stack([right_angle, right_angle + along, right_angle + across_radius], axis=1)


@functools.lru_cache(maxsize=1)
def _twists_deg() -> NDArray[np.float64]:
    """The twist at each position of `PATTERN`: that with the smallest sampling gap over all camera turns."""
    middle = len(PATTERN) // 2
    down, across = np.mgrid[-middle : middle + 1, -middle : middle + 1]
    radius_deg = np.degrees(np.arctan2(down, across))[..., None]
    # Signs alternate, so that twists cancel over neighbouring tiles; the other sign is taken where its gap is
    # smaller by a quarter.
    preferred = np.where((across + down) % 2 == 0, 1, -1)[..., None]
    tries = np.concatenate([preferred * TWISTS_DEG, -preferred * TWISTS_DEG], axis=-1)
    gaps = _worst_gap(radius_deg + tries)
    gaps[..., len(TWISTS_DEG) :] *= 1.25
    return np.take_along_axis(tries, gaps.argmin(axis=-1)[..., None], axis=-1)[..., 0]


def _worst_gap(angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """The largest sampling gap of a tile's three edges over all camera turns."""
    step = 0.1
    grid = np.arange(0, 90, step)
    leg = sampling_gap(grid)
    slant = np.roll(sampling_gap(grid, USABLE_LEG_PX * np.sqrt(2)), -round(45 / step))
    worst = maximum_filter1d(np.maximum(leg, slant), 2 * round(CAMERA_TURN_DEG / step) + 1, mode="wrap")
    return worst[np.round(angle_deg / step).astype(int) % len(grid)]


def sampling_gap(angle_deg: ArrayLike, length_px: float = USABLE_LEG_PX) -> NDArray[np.float64]:
    """The largest gap that the samples of one colour leave on the normal of a straight edge.

    Parameters
    ----------
    angle_deg : array_like
        The direction of the edge, from the rows of the sensor.
    length_px : float
        Length of the edge.

    Returns
    -------
    ndarray
        The widest stretch of the normal without any sample of a lattice of 2 px spacing (red or blue of a Bayer
        mosaic), in pixels; of the shape of `angle_deg`.
    """
    angles = np.radians(np.atleast_1d(np.asarray(angle_deg, dtype=float)))
    reach = 4.0
    steps = np.arange(-np.ceil((length_px + reach) / 4), np.ceil((length_px + reach) / 4) + 1) * 2
    y, x = (grid.ravel() for grid in np.meshgrid(steps, steps))
    gaps = np.empty(angles.size)
    for k, (c, s) in enumerate(zip(np.cos(angles), np.sin(angles), strict=True)):
        along, off = x * c + y * s, y * c - x * s
        near = (np.abs(along) <= length_px / 2) & (np.abs(off) <= reach)
        gaps[k] = np.diff(np.sort(off[near])).max()
    return gaps.reshape(np.shape(angle_deg))
