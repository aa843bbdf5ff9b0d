"""The black and the white of a sheet, by the light of a shot's uniform blocks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.uniform_blocks import UniformBlocks

DARK, BRIGHT = 0.3, 0.4
"""Blocks with less (more) than this share of the brightest light count as a sheet's black (white)."""

LIKE = 0.1
"""Neighbouring blocks whose light differs by less than this share have no edge between them."""


def black_and_white(blocks: UniformBlocks) -> tuple[UniformBlocks, UniformBlocks]:
    """The blocks far from edges that show black, and those that show white; of an even light all show white."""
    if len(blocks) == 0:
        return blocks, blocks
    share = blocks.light / np.percentile(blocks.light, 95)
    far = _far_from_edges(blocks)
    return blocks.taken(far & (share < DARK) & (blocks.light > 0)), blocks.taken(far & (share > BRIGHT))


def _far_from_edges(blocks: UniformBlocks) -> NDArray[np.bool_]:
    """Which blocks lie between two that are uniform, too, and of like light: halos of edges end there."""
    gap, light = np.diff(blocks.index), blocks.light
    like = (gap == 1) & (np.abs(np.diff(light)) < LIKE * np.minimum(light[1:], light[:-1]))
    return np.append(False, like) & np.append(like, False)
