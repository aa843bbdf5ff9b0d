"""How each tile of the target is turned and twisted, and where its corners then lie.

The twists are chosen so that a tile's edges sample well between the pixels: see `sampling_gap`.
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import maximum_filter1d

from lensbench.target._turned import turned_tiles

LEG_OVER_PITCH = 0.56
"""Length of a tile's legs over the distance of neighbouring nodes."""

FAR_CORNER = LEG_OVER_PITCH / np.sqrt(2)
"""How far each corner lies from its node, in pitches."""

PITCH_DECIMALS = 5
"""Decimals of the pitch in a layout's file."""

TWISTS_DEG = np.arange(2.0, 6.25, 0.5)
"""The twists that are tried for every tile, either way."""

CAMERA_TURN_DEG = 3.0
"""Camera turn, either way, over which the edges must sample well (chosen by experience)."""

USABLE_LEG_PX = 130
"""Straight part of a leg between the blurred corners, for the choice of twists (24 megapixels, fine lattice)."""

MOST_IN_LINE = 31
"""Most tiles in a row or column of a sheet."""


def sheet_name(lattice: str, columns: int, rows: int, pitch_mm: float) -> str:
    """What a sheet is called in print and in its file."""
    # By the pitch that the file holds, so that it can be held against the name.
    return f"{lattice}-{columns}x{rows}-{round(pitch_mm, PITCH_DECIMALS):.3f}"


@functools.lru_cache(maxsize=64)
def tile_corners(columns: int, rows: int, name: str) -> NDArray[np.float64]:
    """Corners of a sheet's tiles (right angle, along the radius, across it).

    Parameters
    ----------
    columns, rows : int
        Size of the lattice, odd, at most `MOST_IN_LINE`.
    name : str
        The sheet's name, which says which of its tiles are turned.

    Returns
    -------
    ndarray, shape (tiles, 3, 2)
        In pitches from the middle node, x right, y down, row by row; not to be written to.
    """
    down, across = np.mgrid[0:rows, 0:columns] - np.array([rows // 2, columns // 2])[:, None, None]
    middle = MOST_IN_LINE // 2
    # The middle node has no radius; arctan2 gives it the one to the right.
    turn = np.arctan2(down, across) + np.radians(_twists_deg()[down + middle, across + middle])
    right_angle_way = -np.exp(1j * turn) * (1 + 1j) / np.sqrt(2)
    side = np.where(turned_tiles(name, right_angle_way), 1.0, -1.0).ravel()[:, None] * LEG_OVER_PITCH
    across, down, turn = across.ravel(), down.ravel(), turn.ravel()
    along = side * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    across_radius = side * np.stack([-np.sin(turn), np.cos(turn)], axis=1)
    right_angle = np.stack([across, down], axis=1) - (along + across_radius) / 2
    corners = np.stack([right_angle, right_angle + along, right_angle + across_radius], axis=1)
    corners.setflags(write=False)
    return corners


@functools.lru_cache(maxsize=1)
def _twists_deg() -> NDArray[np.float64]:
    """The twist at each position about the middle: that with the smallest sampling gap over all camera turns."""
    middle = MOST_IN_LINE // 2
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
