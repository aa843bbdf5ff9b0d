"""Distortion as figures: its curve, its kind, its centre."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.geometry._mapping import Mapping
from lensbench.analysers.geometry._mapping_fit import MappingFit
from lensbench.findings import NORMAL_95, Distortion, DistortionStep, Figure, Position

CURVE_H = np.linspace(0.1, 1.0, 10)
"""Radii, from the centre of distortion in half-diagonals, at which the curve is given."""

EXTRAPOLATED = 0.08
"""How far beyond the outermost edge the curve is extrapolated, in half-diagonals (study:
`tests/bench/geometry.py`)."""

STRAIGHT_PERCENT = 0.02
"""Distortion below this counts as none, however narrow its interval."""


def reaches_corners(fit: MappingFit) -> bool:
    """Whether edges were measured far enough out for a figure at the corners."""
    return fit.reach >= 1 - EXTRAPOLATED


def measure_distortion(fit: MappingFit) -> Distortion:
    """Read the distortion off a fitted mapping."""
    h = CURVE_H[: max(int((fit.reach + EXTRAPOLATED >= CURVE_H).sum()), 1)]
    whole = fit.figures(lambda m: 100 * (1 / m.undistorted_ratio(h) - 1), "%")
    local = fit.figures(lambda m: 100 * (1 / m.undistorted_slope(h) - 1), "%")
    mapping = fit.mapping
    x, y = fit.figures(lambda m: m.centre, "px")
    rms = float(np.sqrt(np.mean(np.square(fit.residual[fit.used]))))
    return Distortion(
        shape=_shape(whole),
        curve=[DistortionStep(*step) for step in zip(h.round(3).tolist(), whole, local, strict=True)],
        bow_percent=fit.figure(_bow, "%") if reaches_corners(fit) else None,
        centre_px=Position.if_known(x, y, mapping.unit),
        about_px=(float(mapping.centre[0]), float(mapping.centre[1])),
        terms=fit.figures(lambda m: m.terms, ""),
        residual_px=Figure.of(rms, NORMAL_95 * rms / np.sqrt(2 * fit.used.sum()), "px"),
    )


def _shape(curve: list[Figure]) -> str:
    """The kind of distortion; ``wave`` where the curve turns back by more than its interval."""
    values = np.array([0.0] + [f.value for f in curve])
    significant = max(STRAIGHT_PERCENT, curve[-1].half_width)
    farthest = int(np.argmax(np.abs(values)))
    if abs(values[farthest]) <= max(STRAIGHT_PERCENT, curve[farthest - 1].half_width):
        return "none"
    back = values[farthest] - values[-1]
    before = values[: farthest + 1] * np.sign(values[farthest])
    if abs(back) > significant or before.min() < -significant:
        return "wave"
    return "cushion" if values[farthest] > 0 else "barrel"


def _bow(mapping: Mapping) -> float:
    """How far a straight line along the long side bows inwards between its ends, in percent of the short side."""
    short = min(mapping.size)
    line = short / 2 / mapping.unit * mapping.undistorted_ratio(np.array(1.0))
    return float(100 * (0.5 - mapping.distorted_radius(line) * mapping.unit / short))
