"""Slanted edges: where each lies, its edge profile and its modulation transfer.

In: a Shot and the nominal positions of its edges. Out: `EdgeResponses`, a channel at a time, with their noise.
Every capability that measures on edges may call this one.
"""

from lensbench.analysers.edge._fit import LEAST_AVERAGED
from lensbench.analysers.edge._line_spreads import LineSpreads, rough_line_spreads
from lensbench.analysers.edge._measure import measure_edges
from lensbench.analysers.edge._places import EdgePlaces, blade_places, tile_edges
from lensbench.analysers.edge._responses import FREQUENCY, EdgeResponses, unfollowed_contrast
from lensbench.analysers.edge._tails import TAIL_STEPS
from lensbench.analysers.edge._traces import EdgeTraces, trace_edges

__all__ = [
    "FREQUENCY",
    "LEAST_AVERAGED",
    "TAIL_STEPS",
    "EdgePlaces",
    "EdgeResponses",
    "EdgeTraces",
    "LineSpreads",
    "blade_places",
    "measure_edges",
    "rough_line_spreads",
    "tile_edges",
    "trace_edges",
    "unfollowed_contrast",
]
