"""Whether stored numbers are proportional to the light: the variance of photon noise is, whatever the lens does.

In: a shot's uniform blocks, or those of two like shots. Out: where the line of variance against light meets zero,
how it grows outwards and how straight it is, and what neighbours share of their noise. Numbers and no sentences.
Called by `run`.
"""

from lensbench.analysers.photon_transfer._assess import (
    MAX_FULL_WELL_ELECTRONS,
    NoiseAssessment,
    assess_noise,
    find_filter,
)
from lensbench.analysers.photon_transfer._correlation import SharedNoise, measure_shared_noise
from lensbench.analysers.photon_transfer._pair import measure_departure
from lensbench.analysers.photon_transfer._signs import NoiseSigns
from lensbench.analysers.photon_transfer._single import measure_noise_line

__all__ = [
    "MAX_FULL_WELL_ELECTRONS",
    "NoiseAssessment",
    "NoiseSigns",
    "SharedNoise",
    "assess_noise",
    "find_filter",
    "measure_departure",
    "measure_noise_line",
    "measure_shared_noise",
]
