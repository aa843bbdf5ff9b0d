"""Sharpness by edge, tile and zone.

In: the measured edges of the shots of one setting. Out: the finding `Sharpness`.
Called by `run`.
"""

from lensbench.analysers.sharpness._measure import ShotEdges, measure_sharpness

__all__ = [
    "ShotEdges",
    "measure_sharpness",
]
