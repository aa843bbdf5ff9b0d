"""Lateral colour: red's and blue's displacement against green, over the frame.

In: measured edges of every colour. Out: the finding `Fringing`.
Called by `run`.
"""

from lensbench.analysers.fringing._measure import measure_fringing

__all__ = [
    "measure_fringing",
]
