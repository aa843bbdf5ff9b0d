"""Falloff of an even light: by zone, its shape, the image circle, hot spots, colour cast, and the lamp's own part.

In: the flats of one setting, read one by one. Out: the finding `Falloff`.
Called by `run` and the library's users.
"""

from lensbench.analysers.falloff._measure import (
    GatheredLight,
    describe_apertures,
    describe_light,
    gather_light,
    measure_falloff,
)
from lensbench.analysers.falloff._panel import PanelGiven
from lensbench.analysers.falloff._shape import beside_cos4

__all__ = [
    "GatheredLight",
    "PanelGiven",
    "beside_cos4",
    "describe_apertures",
    "describe_light",
    "gather_light",
    "measure_falloff",
]
