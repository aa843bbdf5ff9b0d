"""Magnification, distortion, the field of view, and how the sheet stood.

In: measured edges and the layout of the target. Out: the finding `Geometry`, and the mapping from sheet to frame.
Called by `run`.
"""

from lensbench.analysers.geometry._mapping import Lines
from lensbench.analysers.geometry._measure import TargetShot, measure_geometry

__all__ = [
    "Lines",
    "TargetShot",
    "measure_geometry",
]
