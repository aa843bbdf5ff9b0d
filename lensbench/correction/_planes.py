"""A corrected picture as planes in linear light: gains, demosaicing, and one resampling for all that moves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.correction._gains import Gains
from lensbench.correction._mosaic import mosaic_colours
from lensbench.correction._registered import green_plane, registered_differences
from lensbench.correction._resampled import Spline, resampled
from lensbench.correction._warp import Warp
from lensbench.shot import Shot

MOVING = ("red", "green", "blue")


def corrected_planes(
    shot: Shot,
    gains: Gains,
    warp: Warp,
    hot: NDArray[np.int64],
    balance: NDArray[np.float64],
    clips_at: float | None = None,
) -> NDArray[np.float32]:
    """Take everything out of a picture that a recipe holds.

    Parameters
    ----------
    shot : Shot
        A mosaic, planes, or a grey frame.
    gains, warp : Gains, Warp
        Of the same recipe.
    hot : ndarray, shape (pixels, 2)
        Rows and columns of hot pixels.
    balance : ndarray, shape (3,)
        Factors of red, green and blue that make neutral light equal.
    clips_at : float, optional
        Stored number at which samples clip; `shot.white` unless given.

    Returns
    -------
    ndarray of float32, shape (height, width, 3) or (height, width)
        Balanced light in the camera's colours, from 0 to 1, where white lies; grey frames have a single plane.
    """
    light = balanced_light(shot, gains, hot, balance, shot.white if clips_at is None else clips_at)
    if mosaic_colours(shot) is not None:
        return _from_mosaic(shot, light, warp)
    grey = light.ndim == 2
    planes = light[:, :, None] if grey else light
    if warp.needed:
        for number, colour in enumerate(shot.colours):
            planes[:, :, number] = resampled(Spline.through(planes[:, :, number]), warp, colour)
    np.clip(planes, 0.0, 1.0, out=planes)
    return planes[:, :, 0] if grey else planes


def _from_mosaic(shot: Shot, light: NDArray[np.float32], warp: Warp) -> NDArray[np.float32]:
    """Planes of a mosaic: green, and what red and blue differ by from it, each resampled once.

    Common demosaicing takes red's and blue's fine detail from green at the same place. Where the lens has laid the
    colours apart, that puts a copy of green's edges at the wrong place, and moving red afterwards moves it
    further. So the differences are taken between light that belongs together in the scene.
    """
    np.minimum(light, 1.0, out=light)
    green = Spline.through(green_plane(shot, light, warp))
    differences = registered_differences(shot, light, green, warp)
    planes = np.empty((*light.shape, 3), np.float32)
    planes[:, :, 1] = resampled(green, warp, "green")
    for number in (0, 2):
        plane = planes[:, :, number]
        plane[...] = resampled(Spline.linear(differences[:, :, number]), warp, MOVING[number])
        plane += planes[:, :, 1]
    return np.clip(planes, 0.0, 1.0, out=planes)


def balanced_light(
    shot: Shot, gains: Gains, hot: NDArray[np.int64], balance: NDArray[np.float64], clips_at: float
) -> NDArray[np.float32]:
    """Light of every sample, gains and balance applied, 1 at white; what is blown is at least 1 in all colours."""
    factors = dict(zip(MOVING, balance, strict=True))
    light = np.empty(shot.samples.shape, np.float32)
    for channel in shot.channels:
        for samples, first, step, number in shot.sublattices(channel):
            full = shot.white - shot.black[number]
            found = shot.light(samples, number) * np.float32(factors.get(channel, 1.0) / full)
            if shot.pattern is None:
                light[:, :, number] = found
            else:
                light[first[1] :: step[1], first[0] :: step[0]] = found
    _mend(shot, light, hot)
    gains.applied(shot, light)
    np.maximum(light, 1.0, out=light, where=shot.samples >= clips_at)
    return light


def _mend(shot: Shot, light: NDArray[np.float32], hot: NDArray[np.int64]) -> None:
    """Put the median of the nearest samples of its colour in the place of each hot one."""
    colours = mosaic_colours(shot)
    colours = np.zeros((1, 1), np.uint8) if colours is None else colours
    down, across = colours.shape
    for row, column in hot:
        rows = np.arange(max(row - max(down, 2), 0), min(row + max(down, 2) + 1, light.shape[0]))
        columns = np.arange(max(column - max(across, 2), 0), min(column + max(across, 2) + 1, light.shape[1]))
        alike = colours[np.ix_(rows % down, columns % across)] == colours[row % down, column % across]
        alike &= (rows[:, None] != row) | (columns[None, :] != column)
        light[row, column] = np.median(light[np.ix_(rows, columns)][alike], axis=0)
