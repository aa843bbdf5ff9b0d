"""The image distance from target shots at several positions of a rail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

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


FEWEST_TO_NAME = 4
"""With fewer shots on the rail nothing tells which reading is wrong."""

FAR_OFF = 10.0
"""A reading that deviates from the sizes by so many standard deviations of one read by hand is a mistake."""


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


class OnRail(NamedTuple):
    """What the shots on a rail give: the image distance, None where they don't, and notes on what is doubtful.

    `misread` is the shot whose reading the sizes in all others contradict; it was left out.
    """

    distance: RailDistance | None
    notes: list[str]
    misread: str | None = None


def rail_distance(fits: Sequence[MappingFit], shots: Sequence[TargetShot]) -> OnRail:
    """Image distance from the scale at several positions: 1 / scale is linear in the distance to the target."""
    on_rail = [
        (fit, shot.name, shot.rail_mm) for fit, shot in zip(fits, shots, strict=True) if shot.rail_mm is not None
    ]
    if len({position for _, _, position in on_rail}) < 2:
        return OnRail(None, [_notes.ONE_RAIL_POSITION])
    rail = np.array([position for _, _, position in on_rail], float)
    middle = np.asarray(centre_of(fits[0].mapping.size))
    scale, own, shared = (
        np.concatenate(part)
        for part in zip(*(fit.value_and_sigmas(lambda m: m.scale(middle)) for fit, _, _ in on_rail), strict=True)
    )
    sheet = np.array([fit.mapping.sheet_at_centre() for fit, _, _ in on_rail])
    sideways = np.polyfit(rail, sheet, 1)[0]
    if np.hypot(*sideways) > MOST_SIDEWAYS:
        return OnRail(None, [_notes.RAIL_ASKEW])
    straight = np.sqrt(1 - sideways @ sideways)
    advance = rail * straight
    points = _Points(1 / scale, own / scale**2, advance)
    line, wrong = _straight_line(points), None
    misread, note = None, []
    if len(set(rail.tolist())) > 2 and line.chi_squared > UNEVEN_CHI_SQUARED:
        note, wrong = [_notes.UNEVEN_RAIL], _misread(points)
    if wrong is not None:
        line = _straight_line(points.without(wrong))
        expected = line.at(points.inverse[wrong]) / straight
        misread = on_rail[wrong][1]
        note = [_notes.misread_rail(misread, float(rail[wrong]), float(expected))]
    if line.slope < LEAST_SIGNIFICANCE * line.sigma:
        return OnRail(None, [*([] if misread is None else note), _notes.SHORT_RAIL_STEP], misread)
    kept = [number for number in range(len(rail)) if number != wrong]
    distance = RailDistance(
        value=line.slope,
        own=line.sigma,
        shared=line.slope * float(np.median(shared / scale)),
        shots=[on_rail[number][1] for number in kept],
        travel_mm=float(np.ptp(rail[kept])),
    )
    return OnRail(distance, note, misread)


@dataclass(frozen=True, eq=False)
class _Points:
    """1 / scale with its standard deviation, and the advance along the rail, of each shot."""

    inverse: NDArray[np.float64]
    sigma: NDArray[np.float64]
    advance: NDArray[np.float64]

    def without(self, which: int) -> _Points:
        """All but one shot's."""
        return _Points(*(np.delete(values, which) for values in (self.inverse, self.sigma, self.advance)))


def _misread(points: _Points) -> int | None:
    """The one shot without which sizes change evenly, where it lies far off; None where it isn't one alone."""
    if len(points.advance) < FEWEST_TO_NAME:
        return None
    others = [_straight_line(points.without(number)) for number in range(len(points.advance))]
    even = [number for number, line in enumerate(others) if line.chi_squared <= UNEVEN_CHI_SQUARED]
    off = [abs(points.advance[n] - others[n].at(points.inverse[n])) > FAR_OFF * READING_SIGMA_MM for n in even]
    return even[0] if off == [True] else None


@dataclass(frozen=True)
class _Line:
    """Slope of a straight line without its sign, its standard deviation, and the reduced χ² of the fit.

    `rise` is the slope with its sign, `middle` the point (1 / scale, advance) that the line goes through.
    """

    slope: float
    sigma: float
    chi_squared: float
    rise: float
    middle: tuple[float, float]

    def at(self, inverse: float) -> float:
        """The advance for a scale."""
        return self.middle[1] + self.rise * (inverse - self.middle[0])


def _straight_line(points: _Points) -> _Line:
    """Fit the advance against 1 / scale, both with errors (effective variance)."""
    inverse, advance = points.inverse, points.advance
    slope = np.polyfit(inverse, advance, 1)[0]
    for _ in range(3):
        variance = READING_SIGMA_MM**2 + (slope * points.sigma) ** 2
        weight = 1 / variance
        middle = float((weight * inverse).sum() / weight.sum())
        from_middle = inverse - middle
        square = (weight * from_middle**2).sum()
        slope = (weight * from_middle * advance).sum() / square
    mean_advance = float((weight * advance).sum() / weight.sum())
    residual = advance - mean_advance - slope * from_middle
    free = len(advance) - 2
    chi_squared = float((weight * residual**2).sum() / free) if free else 1.0
    sigma = float(np.sqrt(max(chi_squared, 1.0) / square))
    return _Line(abs(float(slope)), sigma, chi_squared, float(slope), (middle, mean_advance))
