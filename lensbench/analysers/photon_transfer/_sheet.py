"""The black and the white of a sheet, by the light of a shot's uniform blocks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.uniform_blocks import FINE_DEGREES, UniformBlocks

DARK, BRIGHT = 0.3, 0.4
"""Blocks with less (more) than this share of the brightest light count as a sheet's black (white)."""

LIKE = 0.1
"""Neighbouring blocks whose light differs by less than this share have no edge between them."""

UNLIKE, SURE = 0.1, 4.0
"""Share by which fine noise's part of all noise may differ between black and white, and the standard deviations by
which it must (clean shots differ by chance alone; study: `tests/bench/gauntlet`, halftone)."""


def black_and_white(blocks: UniformBlocks) -> tuple[UniformBlocks, UniformBlocks]:
    """The blocks far from edges that show black, and those that show white; of an even light all show white."""
    if len(blocks) == 0:
        return blocks, blocks
    share = blocks.light / np.percentile(blocks.light, 95)
    far = _far_from_edges(blocks)
    return blocks.taken(far & (share < DARK) & (blocks.light > 0)), blocks.taken(far & (share > BRIGHT))


def is_grainy(black: UniformBlocks, white: UniformBlocks) -> bool:
    """Whether black's variance is ink's, as of a print in dots: a sensor's noise has the same grain in both."""
    if min(len(black), len(white)) == 0:
        return False
    dark, bright = (float(np.median(part.fine_variance) / np.median(part.variance)) for part in (black, white))
    # Of medians, as of normal values.
    unsure = np.sqrt(np.pi / 2 * 2 / FINE_DEGREES / len(black))
    return abs(dark - bright) > max(UNLIKE, SURE * unsure) * bright


def _far_from_edges(blocks: UniformBlocks) -> NDArray[np.bool_]:
    """Which blocks lie between two that are uniform, too, and of like light: halos of edges end there."""
    gap, light = np.diff(blocks.index), blocks.light
    like = (gap == 1) & (np.abs(np.diff(light)) < LIKE * np.minimum(light[1:], light[:-1]))
    return np.append(False, like) & np.append(like, False)
