"""What falloff, dust and glare share of an even light: block means of the mosaic, dark level, symmetric light.

In: a Shot of an even light. Out: arrays of light by block, and smooth surfaces through them.
Called by the capabilities that read flats.
"""

from lensbench.analysers.flat_light._block_means import (
    Blocks,
    block_borders,
    block_means,
    index_block_means,
    nearest_blocks,
)
from lensbench.analysers.flat_light._flat_exposure import FlatExposure, flat_exposure
from lensbench.analysers.flat_light._flat_reading import (
    CLIPPED_SHARE,
    READABLE_STOPS,
    FlatLight,
    dark_level,
    read_finely,
    read_flats,
)
from lensbench.analysers.flat_light._light_axis import centre_of_light
from lensbench.analysers.flat_light._light_map import MAP_STOPS, REFERENCE_H, LightMap, fit_light
from lensbench.analysers.flat_light._round_light import fit_round, robust_round_weights, round_basis

__all__ = [
    "CLIPPED_SHARE",
    "MAP_STOPS",
    "READABLE_STOPS",
    "REFERENCE_H",
    "Blocks",
    "FlatExposure",
    "FlatLight",
    "LightMap",
    "block_borders",
    "block_means",
    "centre_of_light",
    "dark_level",
    "fit_light",
    "fit_round",
    "flat_exposure",
    "index_block_means",
    "nearest_blocks",
    "read_finely",
    "read_flats",
    "robust_round_weights",
    "round_basis",
]
