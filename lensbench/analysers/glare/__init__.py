"""Veiling glare: the light in the dark tiles of the target against the white around them.

In: a target shot and its measured tiles. Out: the finding `Glare`.
Called by `run`.
"""

from lensbench.analysers.glare._measure import Ink, TileLight, measure_glare, read_dark_tiles

__all__ = [
    "Ink",
    "TileLight",
    "measure_glare",
    "read_dark_tiles",
]
