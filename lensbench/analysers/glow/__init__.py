"""Glow: the light that a lens throws far from an edge, around a sharp core, besides what diffraction does.

In: the edges of shots taken alike. Out: the finding `Glow` by zone and colour.
Called by `run`.
"""

from lensbench.analysers.glow._measure import measure_glow

__all__ = [
    "measure_glow",
]
