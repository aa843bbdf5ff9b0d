"""Magnification, distortion, the field of view, and turn and tilt of the target.

In: measured edges (`Lines`) and the layout of the target. Out: the finding `Geometry`.
Called by `run`.
"""

from lensbench.analysers.geometry._lines import Lines
from lensbench.analysers.geometry._measure import measure_geometry
from lensbench.analysers.geometry._notes import mistakes_in
from lensbench.analysers.geometry._target_shot import TargetShot

__all__ = [
    "Lines",
    "TargetShot",
    "measure_geometry",
    "mistakes_in",
]
