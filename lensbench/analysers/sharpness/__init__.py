"""Sharpness by edge, tile and zone.

In: the measured edges of the shots of one setting (`ShotEdges`). Out: the finding `Sharpness`.
Called by `run`.
"""

from lensbench.analysers.sharpness._edge_table import ShotEdges
from lensbench.analysers.sharpness._measure import measure_sharpness

__all__ = [
    "ShotEdges",
    "measure_sharpness",
]
