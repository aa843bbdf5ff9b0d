"""Falloff of an even light: by zone, profile and map, gradient, image circle, hot spot, colour cast, light panel.

In: the flats of one setting, read by `read_light`; readings of one mounting, described together. Out: `Falloff`.
Called by `run`, `correction` and the library's users.
"""

from lensbench.analysers.falloff._centre_light import read_centre_light
from lensbench.analysers.falloff._measure import describe_falloff, measure_falloff
from lensbench.analysers.falloff._panel_moves import PanelGiven
from lensbench.analysers.falloff._reading import LightReading, read_light

__all__ = [
    "LightReading",
    "PanelGiven",
    "describe_falloff",
    "measure_falloff",
    "read_centre_light",
    "read_light",
]
