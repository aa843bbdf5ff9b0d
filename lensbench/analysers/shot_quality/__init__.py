"""What besides the lens shaped a target shot: motion, sharpening, a tone curve, altered noise, a ragged print.

In: a target shot, its edges' positions and what was measured there. Out: `ShotSigns`, numbers and no sentences.
Called by `run`.
"""

from lensbench.analysers.shot_quality._asymmetry import EdgeAsymmetry
from lensbench.analysers.shot_quality._directional_blur import DirectionalBlur
from lensbench.analysers.shot_quality._noise_pattern import NoiseLevel, NoisePattern
from lensbench.analysers.shot_quality._signs import (
    MAX_ASYMMETRY,
    MAX_FULL_WELL_ELECTRONS,
    ShotSigns,
    assess_shot,
)

__all__ = [
    "MAX_ASYMMETRY",
    "MAX_FULL_WELL_ELECTRONS",
    "DirectionalBlur",
    "EdgeAsymmetry",
    "NoiseLevel",
    "NoisePattern",
    "ShotSigns",
    "assess_shot",
]
