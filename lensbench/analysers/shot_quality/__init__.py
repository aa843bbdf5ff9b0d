"""What besides the lens shaped a shot: motion, tone curves, ragged print, altered noise.

In: a Shot and its measured edges. Out: signs with their strength.
Called by `run`.
"""

from lensbench.analysers.shot_quality._motion import OneWayBlur, find_one_way_blur
from lensbench.analysers.shot_quality._noise_pattern import NoiseLevel, NoisePattern, look_at_noise
from lensbench.analysers.shot_quality._raggedness import measure_raggedness
from lensbench.analysers.shot_quality._tone import LopsidedEdges, find_lopsided_edges

__all__ = [
    "LopsidedEdges",
    "NoiseLevel",
    "NoisePattern",
    "OneWayBlur",
    "find_lopsided_edges",
    "find_one_way_blur",
    "look_at_noise",
    "measure_raggedness",
]
