"""Green of a mosaic, and what red and blue differ by from it, between light that belongs together in the scene."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from lensbench.correction._demosaiced import demosaiced
from lensbench.correction._mosaic import is_two_by_two, sites
from lensbench.correction._resampled import Places, Spline, mapped
from lensbench.correction._warp import Warp
from lensbench.shot import Shot

_HALF_SAMPLE_DEGREE = 3
"""Spline through the samples of one colour, which lie two pixels apart."""


def green_plane(shot: Shot, light: NDArray[np.float32], warp: Warp) -> NDArray[np.float32]:
    """Green at every place, up to 1.

    Demosaicing takes hints of green's fine detail from its neighbours of other colours. In a 2 × 2 mosaic these
    are first brought to where green sees the same of the scene; this serves for hints only.
    """
    if is_two_by_two(shot) and warp.recipe.fringing:
        light = light.copy()
        for rows, columns, colour in sites(shot):
            if colour == "green":
                continue
            part = light[rows, columns]
            moved_x, moved_y = _moved(partial(warp.displaced, colour), rows, columns, light.shape)
            spline = Spline.through(part, _HALF_SAMPLE_DEGREE)
            part[...] = spline.at((moved_x - columns.start) / columns.step, (moved_y - rows.start) / rows.step)
    return np.minimum(demosaiced(shot, light, "AHD")[:, :, 1], 1.0)


def registered_differences(
    shot: Shot, light: NDArray[np.float32], green: Spline, warp: Warp
) -> NDArray[np.float32]:
    """Red's, green's (none) and blue's light less green's from the same place of the scene, at every place.

    Parameters
    ----------
    shot : Shot
        A mosaic.
    light : ndarray, shape (height, width)
        From 0 to 1.
    green : Spline
        Through green's plane.
    warp : Warp
        Whose recipe says how the colours lie apart.
    """
    differences = np.zeros_like(light)
    for rows, columns, colour in sites(shot):
        if colour != "green":
            places = _moved(partial(warp.undisplaced, colour), rows, columns, light.shape)
            differences[rows, columns] = light[rows, columns] - np.clip(green.at(*places), 0.0, 1.0)
    # From -1 … 1 to 0 … 1, and back.
    differences += 1.0
    differences *= 0.5
    # Straight lines between samples do in a 2 × 2 mosaic; in others many places have samples on one side only.
    planes = demosaiced(shot, differences, "LINEAR" if is_two_by_two(shot) else "AHD")
    planes *= 2.0
    planes -= 1.0
    return planes


def _moved(
    places: Callable[[NDArray, NDArray], Places], rows: slice, columns: slice, shape: tuple[int, ...]
) -> Places:
    """Where a map takes the samples of one site."""
    return mapped(places, np.arange(*columns.indices(shape[1])), np.arange(*rows.indices(shape[0])))
