"""What falloff, dust and glare share of an even light: block means of the mosaic, the dark level, round light.

In: a Shot of an even light. Out: arrays of light by block, and smooth surfaces through them.
Called by the capabilities that read flats.
"""

from lensbench.analysers.flat_light._block_means import Blocks, block_borders, index_block_means, nearest_blocks
from lensbench.analysers.flat_light._light_map import (
    MAP_STOPS,
    READABLE_STOPS,
    REFERENCE_H,
    FlatLight,
    LightMap,
    dark_level,
    fit_light,
    read_finely,
    read_flats,
)
from lensbench.analysers.flat_light._round_light import centre_of_light, fit_round, round_basis, trust_round

__all__ = [
    "MAP_STOPS",
    "READABLE_STOPS",
    "REFERENCE_H",
    "Blocks",
    "FlatLight",
    "LightMap",
    "block_borders",
    "centre_of_light",
    "dark_level",
    "fit_light",
    "fit_round",
    "index_block_means",
    "nearest_blocks",
    "read_finely",
    "read_flats",
    "round_basis",
    "trust_round",
]
