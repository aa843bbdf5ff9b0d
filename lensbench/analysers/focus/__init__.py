"""Focus from a series along a rail: best focus, the surface of it, its colours.

In: the sharpness of tiles in shots at known readings of the rail (`FocusShot`). Out: the finding `Focus`.
Called by `run`.
"""

from lensbench.analysers.focus._lean import Sheet
from lensbench.analysers.focus._measure import measure_focus
from lensbench.analysers.focus._series import FocusShot

__all__ = [
    "FocusShot",
    "Sheet",
    "measure_focus",
]
