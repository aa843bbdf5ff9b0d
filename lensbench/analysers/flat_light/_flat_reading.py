"""An even light read from its shots: stops over a grid of blocks, the dark level subtracted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.flat_light._block_means import BLOCK_PX, Blocks, block_means
from lensbench.errors import BenchError
from lensbench.frame import h_of
from lensbench.shot import Shot

READABLE_STOPS = 8.0
"""Blocks darker than the brightest by more than this hold too little light to measure (chosen by experience)."""

BLACK_STOPS = 20.0
"""No block counts as darker than this."""

CLIPPED_SHARE = 0.02
"""A block with a larger share of clipped samples is left out; a few are hot pixels (chosen by experience)."""

LEAST_LEVEL = 0.005
"""Share of full scale under which the middle of a flat is refused as nearly black (chosen by experience)."""

FINE_PX = 4
"""About how wide blocks are at the edge of the image circle."""


@dataclass(frozen=True, eq=False)
class FlatLight:
    """What one flat shows in one channel, over a grid of blocks.

    Attributes
    ----------
    x, y : ndarray
        The blocks' centres in pixels.
    stops : ndarray, shape (y, x)
        Below the median of the middle, positive is darker; where too dark to be measured at most `BLACK_STOPS`.
    readable, dark : ndarray of bool, shape (y, x)
        Which blocks can be measured, and which are too dark for it.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    stops: NDArray[np.float64]
    readable: NDArray[np.bool_]
    dark: NDArray[np.bool_]


def read_flats(flats: Sequence[Shot], channel: str, darks: Sequence[Shot] = ()) -> list[FlatLight]:
    """Average one channel of flats over blocks.

    Parameters
    ----------
    flats : sequence of Shot
        Even light, one or more, all of one size.
    channel : str
        One of their channels.
    darks : sequence of Shot
        Frames taken with the lens covered; their mean is subtracted.

    Returns
    -------
    list of FlatLight
        One for each flat.

    Raises
    ------
    BenchError
        Where a flat can't be measured: too dark, clipped in the middle, or of another size than the dark frames.
    """
    level = dark_level(darks, flats[0], channel)
    return [_read_flat(flat, channel, level) for flat in flats]


def _read_flat(flat: Shot, channel: str, black: float | NDArray) -> FlatLight:
    """The light of one flat above the dark level."""
    blocks = block_means(flat, channel)
    light = blocks.light - black
    _check_middle(flat, light, blocks.clipped, channel)
    bright = np.percentile(light, 99)
    dark = light <= bright * 2.0**-READABLE_STOPS
    readable = ~dark & (blocks.clipped <= CLIPPED_SHARE)
    light = light - _off_centre(flat, channel, replace(blocks, light=light))
    stops = -np.log2(np.maximum(light, bright * 2.0**-BLACK_STOPS))
    middle = readable & (h_of(blocks.x[None, :], blocks.y[:, None], flat.size) < 0.25)
    stops -= np.median(stops[middle])
    return FlatLight(blocks.x, blocks.y, stops, readable, dark)


def _off_centre(flat: Shot, channel: str, blocks: Blocks) -> NDArray:
    """Change of the light from the blocks' centres to the mean position of a colour's samples in them."""
    parts = list(flat.sublattices(channel))
    across, down = np.mean(
        [[f - (s - 1) / 2 for f, s in zip(p.first, p.step, strict=True)] for p in parts], axis=0
    )
    if min(blocks.light.shape) < 2:
        return np.zeros_like(blocks.light)
    by_y, by_x = np.gradient(blocks.light, blocks.y, blocks.x)
    return across * by_x + down * by_y


def read_finely(flats: Sequence[Shot], channel: str, darks: Sequence[Shot] = ()) -> Blocks:
    """The summed light of flats in blocks of `FINE_PX`, for where it changes within the larger ones.

    Parameters
    ----------
    flats, channel, darks
        As in `read_flats`.

    Returns
    -------
    Blocks
        Clipped shares are those of the first flat.

    Raises
    ------
    BenchError
        Where a dark frame has another size.
    """
    level = dark_level(darks, flats[0], channel, FINE_PX)
    read = [block_means(flat, channel, FINE_PX) for flat in flats]
    light = np.sum([blocks.light for blocks in read], axis=0) - len(read) * level
    return replace(read[0], light=light)


def dark_level(darks: Sequence[Shot], flat: Shot, channel: str, block: int = BLOCK_PX) -> float | NDArray:
    """Mean of the dark frames over a shot's blocks.

    Parameters
    ----------
    darks : sequence of Shot
        Frames taken with the lens covered.
    flat : Shot
        Whose blocks these are.
    channel : str
        One of its channels.
    block : int
        About how wide a block is, in pixels.

    Returns
    -------
    float or ndarray, shape (down, across)
        In stored units above black; 0 without dark frames.

    Raises
    ------
    BenchError
        Where a dark frame has another size.
    """
    if not darks:
        return 0.0
    for dark in darks:
        if dark.size != flat.size:
            raise BenchError(
                f"{dark.name}: is {dark.size[0]} × {dark.size[1]} pixels, {flat.name} is "
                f"{flat.size[0]} × {flat.size[1]}. Take the dark frames with the same camera and crop."
            )
    return np.mean([block_means(dark, channel, block).light for dark in darks], axis=0)


def _check_middle(flat: Shot, light: NDArray, clipped: NDArray, channel: str) -> None:
    """Raise where the middle of a flat is clipped or nearly black."""
    size_y, size_x = light.shape
    middle = np.s_[3 * size_y // 8 : 5 * size_y // 8 + 1, 3 * size_x // 8 : 5 * size_x // 8 + 1]
    if np.median(clipped[middle]) > CLIPPED_SHARE:
        raise BenchError(
            f"{flat.name}: the middle of the flat is clipped ({channel} is at 100 %). Expose a stop less."
        )
    full = flat.full_scale(channel)
    level = float(np.median(light[middle]))
    if level < LEAST_LEVEL * full:
        raise BenchError(
            f"{flat.name}: the middle of the flat is nearly black ({channel} is at {100 * level / full:.1f} %). "
            "Aim at 50 to 75 %: light the sheet, take the cap off, expose longer."
        )
