"""Focus from a series along a rail: best focus, the surface of it, its colours.

In: the measured edges of shots at known readings of the rail. Out: the finding `Focus`.
Called by `run`.
"""

from lensbench.analysers.focus._measure import FocusShot, Sheet, measure_focus

__all__ = [
    "FocusShot",
    "Sheet",
    "measure_focus",
]
