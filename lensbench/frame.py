"""The frame's own geometry: how far out a position lies, its zone, which way an edge runs there, places in words.

Pixels are (x, y) of the full visible frame as stored, x right, y down, pixel centres at whole numbers, so the
frame reaches from -0.5 to width - 0.5. Sizes are (width, height) in pixels.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

RINGS = {"centre": 0.25, "inner": 0.55, "outer": 0.85, "corner": np.inf}
"""The rings of zones and the h at which each ends."""

QUARTERS = ("top-left", "top-right", "bottom-right", "bottom-left")
"""The quarters of every ring but the centre, clockwise as seen."""

ZONES = ("centre", *(f"{ring} {quarter}" for ring in ("inner", "outer", "corner") for quarter in QUARTERS))
"""The 13 zones, from the centre outwards."""

ZONE_GRID = (60, 40)
"""Positions across and down the frame by which areas of zones are represented."""

DIRECTIONS = ("sagittal", "tangential", "oblique")
"""What an edge can be at its position: along the radius, across it, or neither."""

SENSOR_MISFIT = 0.03
"""Data sheets round; a sensor whose sides disagree with the picture's by more than this share is another one."""

DIRECTION_TOLERANCE_DEG = 10.0
"""How far from the radius (or from across it) an edge may lie and still be called by its name."""


def centre_of(size: tuple[int, int]) -> tuple[float, float]:
    """The frame's centre (x, y) in pixels."""
    return (size[0] - 1) / 2, (size[1] - 1) / 2


def half_diagonal(size: tuple[int, int]) -> float:
    """Half of the frame's diagonal in pixels."""
    return float(np.hypot(*size)) / 2


def pixel_pitch_um(size: tuple[int, int], sensor_mm: tuple[float, float] | None) -> float | None:
    """Distance of the pixels on a sensor, in micrometres; None without its size, or where that can't be right.

    Pixels are square: the geometric mean is the better of two slightly different readings of a data sheet.
    """
    if sensor_mm is None or sensor_misfit(size, sensor_mm) is not None:
        return None
    return 1000 * float(np.sqrt(sensor_mm[0] / size[0] * sensor_mm[1] / size[1]))


def sensor_misfit(size: tuple[int, int], sensor_mm: tuple[float, float]) -> str | None:
    """Why a sensor's size can't be that of this picture, in a sentence; None where it can."""
    apart = abs(float(np.log(sensor_mm[0] / size[0] / (sensor_mm[1] / size[1]))))
    if apart <= SENSOR_MISFIT:
        return None
    sensor, picture = "{:g} × {:g} mm".format(*sensor_mm), "{} × {} pixels".format(*size)
    longer = 100 * np.expm1(apart)
    return (
        f"A sensor of {sensor} doesn't fit a picture of {picture}: they would be {longer:.0f} % longer one way "
        "than the other. Give the size of the whole visible frame."
    )


def h_of(x: ArrayLike, y: ArrayLike, size: tuple[int, int]) -> NDArray:
    """Distance from the frame's centre over the half-diagonal, 0 to 1.

    Parameters
    ----------
    x, y : array_like
        Positions in pixels, of any one shape.
    size : (int, int)
        Width and height of the frame in pixels.
    """
    cx, cy = centre_of(size)
    return np.hypot(np.asarray(x) - cx, np.asarray(y) - cy) / half_diagonal(size)


def zone_points(size: tuple[int, int]) -> list[NDArray[np.float64]]:
    """Positions in pixels, shape (m, 2), spread evenly over each of `ZONES`.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    """
    sides = zip(ZONE_GRID, size, strict=True)
    across, down = ((np.arange(count) + 0.5) * side / count - 0.5 for count, side in sides)
    points = np.stack([part.ravel() for part in np.meshgrid(across, down)], axis=-1)
    zone = zone_index(points[:, 0], points[:, 1], size)
    return [points[zone == k] for k in range(len(ZONES))]


def zone_index(x: ArrayLike, y: ArrayLike, size: tuple[int, int]) -> NDArray:
    """The place of each (x, y) in `ZONES`, as whole numbers of the same shape."""
    cx, cy = centre_of(size)
    x, y = np.asarray(x), np.asarray(y)
    ring = np.searchsorted(list(RINGS.values()), h_of(x, y, size), side="right")
    right, below = x > cx, y > cy
    quarter = np.where(below, np.where(right, 2, 3), np.where(right, 1, 0))
    return np.where(ring == 0, 0, 1 + (ring - 1) * 4 + quarter)


def zone_of(x: float, y: float, size: tuple[int, int]) -> str:
    """The zone that a position lies in, one of `ZONES`."""
    return ZONES[int(zone_index(x, y, size))]


def radial_axes(x: ArrayLike, y: ArrayLike, size: tuple[int, int]) -> tuple[NDArray, NDArray]:
    """The unit vectors outward and around (anticlockwise as seen) at each position.

    Returns
    -------
    outward, around : ndarray, shape (..., 2)
        In (x, y), y down. At the exact centre, where neither has meaning, x right and y up are given.
    """
    cx, cy = centre_of(size)
    across, down = np.broadcast_arrays(np.asarray(x, float) - cx, np.asarray(y, float) - cy)
    radius = np.hypot(across, down)
    safe = np.where(radius > 0, radius, 1.0)
    outward = np.stack([np.where(radius > 0, across / safe, 1.0), down / safe], axis=-1)
    around = np.stack([outward[..., 1], -outward[..., 0]], axis=-1)
    return outward, around


def edge_direction(x: ArrayLike, y: ArrayLike, angle_deg: ArrayLike, size: tuple[int, int]) -> NDArray:
    """Name each edge by how it lies to the frame's radius at its position.

    Parameters
    ----------
    x, y : array_like
        The edge's middle in pixels.
    angle_deg : array_like
        The direction of the edge, anticlockwise as seen from x right, modulo 180.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    ndarray of str
        ``sagittal`` within 10° of the radius, ``tangential`` within 10° of across it, else ``oblique``.
    """
    outward, _ = radial_axes(x, y, size)
    radius_deg = np.degrees(np.arctan2(-outward[..., 1], outward[..., 0]))
    off = np.abs((np.asarray(angle_deg) - radius_deg + 90) % 180 - 90)
    names = np.where(off >= 90 - DIRECTION_TOLERANCE_DEG, "tangential", "oblique")
    return np.where(off <= DIRECTION_TOLERANCE_DEG, "sagittal", names)


def place_in_words(x: float, y: float, size: tuple[int, int]) -> str:
    """Say where in the picture a position lies, as one would to somebody looking at it.

    Returns
    -------
    str
        Such as ``in the middle``, ``at the left``, ``near the top right corner``.
    """
    h = float(h_of(x, y, size))
    if h < RINGS["centre"]:
        return "in the middle"
    cx, cy = centre_of(size)
    across, down = (x - cx) / size[0], (y - cy) / size[1]
    sideways = "left" if across < 0 else "right"
    upright = "top" if down < 0 else "bottom"
    if h >= RINGS["outer"]:
        return f"near the {upright} {sideways} corner"
    # A position counts as beside or above when one part of its displacement is less than 0.4 of the other (22°).
    if abs(down) < 0.4 * abs(across):
        where = sideways
    elif abs(across) < 0.4 * abs(down):
        where = upright
    else:
        where = f"{upright} {sideways}"
    return f"{'half-way to' if h < RINGS['inner'] else 'far to'} the {where}"
