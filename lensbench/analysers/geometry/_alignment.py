"""Tilt of the target against the sensor, as unequal scale and as angles."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.geometry._mapping_fit import MappingFit
from lensbench.findings import Alignment, Figure

COLLINEAR = 3.0
"""Tilt and decentring are not distinguished where not knowing the centre widens the lean by this factor or more
(chosen by experience)."""


def measure_alignment(fit: MappingFit, distance_known: bool, centre_known: bool) -> Alignment:
    """Read the target's tilt off a fitted mapping.

    Parameters
    ----------
    fit : MappingFit
    distance_known : bool
        Whether the image distance was measured; without it there are no angles.
    centre_known : bool
        Whether the centre of distortion is known.

    Returns
    -------
    Alignment
    """
    extent = np.asarray(fit.mapping.size) / fit.mapping.unit
    left, top = fit.figures(lambda m: 100 * m.lean * extent, "%")
    right_away = bottom_away = None
    if distance_known:
        right_away, bottom_away = fit.figures(lambda m: np.degrees(np.arctan(m.lean * m.distance)), "°")
    distinguished = centre_known or fit.lean_inflation_by_centre() <= COLLINEAR
    return Alignment(left, top, right_away, bottom_away, distinguished_from_decentring=distinguished)


def whole_tilt(fit: MappingFit) -> Figure:
    """The angle between target and sensor; it has no sign, so its interval ends at 0."""
    tilt = fit.figure(lambda m: np.degrees(np.arctan(np.hypot(*(m.lean * m.distance)))), "°")
    return Figure(tilt.value, max(tilt.low, 0.0), tilt.high, tilt.unit)
