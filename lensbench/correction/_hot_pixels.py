"""Hot pixels, from dark frames: what shines with the cap on shines in every picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.loaders.guessing import why_no_darkness
from lensbench.loaders.raw import load_raw
from lensbench.robust import robust_sigma
from lensbench.shot import Shot

_SIGMAS = 10.0
_LEAST_LIGHT = 0.004
"""Part of the full scale, eight stops below clipping, that a hot pixel must shine with to be mended."""

_MOST = 0.002
"""A larger part of the frame is no handful of hot pixels."""


def find_hot_pixels(paths: Sequence[Path], size: tuple[int, int]) -> NDArray[np.int64]:
    """Rows and columns of pixels that shine in every one of some dark frames.

    Parameters
    ----------
    paths : sequence of Path
        Dark frames of the pictures' camera.
    size : (int, int)
        Width and height of the pictures.

    Raises
    ------
    BenchError
        Where a frame isn't dark, is of another size, or shines all over.
    """
    shining: NDArray[np.bool_] | None = None
    for path in paths:
        dark = load_raw(path)
        why = why_no_darkness(dark)
        if why is not None:
            raise BenchError(f"{dark.name}: {why} Take it with the cap on.")
        if dark.size != tuple(size):
            raise BenchError(
                f"{dark.name}: is {dark.size[0]} × {dark.size[1]} pixels, and the pictures {size[0]} × {size[1]}. "
                "Take the dark frame with the same camera."
            )
        found = _shining(dark)
        shining = found if shining is None else shining & found
    if shining is None:
        return np.zeros((0, 2), np.int64)
    if shining.mean() > _MOST:
        raise BenchError(
            f"{paths[0].name}: {100 * shining.mean():.1f} % of its pixels shine, too many to mend. Take the "
            "dark frame with the pictures' exposure time and ISO."
        )
    return np.argwhere(shining)


def _shining(dark: Shot) -> NDArray[np.bool_]:
    shining = np.zeros(dark.samples.shape[:2], bool)
    for channel in dark.channels:
        least = _LEAST_LIGHT * dark.full_scale(channel)
        for part in dark.sublattices(channel):
            light = dark.light(part.samples, part.colour_index)
            middle = np.median(light)
            sigma = robust_sigma(light)
            rows, columns = np.s_[part.first[1] :: part.step[1]], np.s_[part.first[0] :: part.step[0]]
            shining[rows, columns] |= light - middle > max(_SIGMAS * sigma, least)
    return shining
