"""The image distance from target shots at several positions of a rail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry import _notes
from lensbench.analysers.geometry._mapping_fit import MappingFit
from lensbench.analysers.geometry._target_shot import TargetShot
from lensbench.frame import centre_of

READING_SIGMA_MM = 0.05
"""Standard deviation of a rail position read by hand (95 %: ± 0.1 mm; common practice)."""

MOST_SIDEWAYS = 0.5
"""Sideways motion of the target over the rail's step, above which the step is not used (30° askew)."""

LEAST_SIGNIFICANCE = 10.0
"""Image distance over its standard deviation, below which it is not given (chosen by experience)."""

UNEVEN_CHI_SQUARED = 4.0
"""Reduced χ² of the straight line above which the focus was touched or a reading is wrong (chosen by
experience)."""


@dataclass(frozen=True)
class RailDistance:
    """The image distance over the pupil ratio, in pixels, from shots along a rail.

    Attributes
    ----------
    value : float
    own, shared : float
        Its standard deviation: from these shots, and from the ruler bars, which it has in common with every scale.
    shots : list of str
        File names of the shots on the rail.
    travel_mm : float
        Distance between the first and the last position.
    """

    value: float
    own: float
    shared: float
    shots: list[str]
    travel_mm: float

    @property
    def sigma(self) -> float:
        """Standard deviation of `value` from both."""
        return float(np.hypot(self.own, self.shared))


def rail_distance(
    fits: Sequence[MappingFit], shots: Sequence[TargetShot]
) -> tuple[RailDistance | None, list[str]]:
    """Image distance from the scale at several positions: 1 / scale is linear in the distance to the target.

    Returns
    -------
    RailDistance or None
        None where the shots do not give it.
    list of str
        Notes that say why, or what is doubtful.
    """
    on_rail = [
        (fit, shot.name, shot.rail_mm) for fit, shot in zip(fits, shots, strict=True) if shot.rail_mm is not None
    ]
    if len({position for _, _, position in on_rail}) < 2:
        return None, [_notes.ONE_RAIL_POSITION]
    rail = np.array([position for _, _, position in on_rail], float)
    middle = np.asarray(centre_of(fits[0].mapping.size))
    scale, own, shared = (
        np.concatenate(part)
        for part in zip(*(fit.value_and_sigmas(lambda m: m.scale(middle)) for fit, _, _ in on_rail), strict=True)
    )
    sheet = np.array([fit.mapping.sheet_at_centre() for fit, _, _ in on_rail])
    sideways = np.polyfit(rail, sheet, 1)[0]
    if np.hypot(*sideways) > MOST_SIDEWAYS:
        return None, [_notes.RAIL_ASKEW]
    advance = rail * np.sqrt(1 - sideways @ sideways)
    line = _straight_line(1 / scale, own / scale**2, advance)
    if line.slope < LEAST_SIGNIFICANCE * line.sigma:
        return None, [_notes.SHORT_RAIL_STEP]
    uneven = len(set(rail.tolist())) > 2 and line.chi_squared > UNEVEN_CHI_SQUARED
    distance = RailDistance(
        value=line.slope,
        own=line.sigma,
        shared=line.slope * float(np.median(shared / scale)),
        shots=[name for _, name, _ in on_rail],
        travel_mm=float(np.ptp(rail)),
    )
    return distance, [_notes.UNEVEN_RAIL] if uneven else []


@dataclass(frozen=True)
class _Line:
    """Slope of a straight line without its sign, its standard deviation, and the reduced χ² of the fit."""

    slope: float
    sigma: float
    chi_squared: float


def _straight_line(inverse: NDArray, inverse_sigma: NDArray, advance: NDArray) -> _Line:
    """Fit the advance against 1 / scale, both with errors (effective variance)."""
    slope = np.polyfit(inverse, advance, 1)[0]
    for _ in range(3):
        variance = READING_SIGMA_MM**2 + (slope * inverse_sigma) ** 2
        weight = 1 / variance
        from_middle = inverse - (weight * inverse).sum() / weight.sum()
        square = (weight * from_middle**2).sum()
        slope = (weight * from_middle * advance).sum() / square
    residual = advance - slope * from_middle
    residual = residual - (weight * residual).sum() / weight.sum()
    free = len(advance) - 2
    chi_squared = float((weight * residual**2).sum() / free) if free else 1.0
    return _Line(abs(float(slope)), float(np.sqrt(max(chi_squared, 1.0) / square)), chi_squared)
