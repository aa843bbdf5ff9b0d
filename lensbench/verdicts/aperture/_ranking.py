"""Which aperture is sharpest: over the whole frame, in its centre and in its corners."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from lensbench import frame
from lensbench.findings import (
    COMMON_RELATIVE_SIGMA,
    NORMAL_95,
    ApertureRanking,
    ApertureSharpness,
    Figure,
    Setting,
)
from lensbench.verdicts.repeats import CONFIDENCE, of_repeats
from lensbench.verdicts.zones import mtf50_by_zone

PARTS = {
    "frame": frame.ZONES,
    "centre": ("centre",),
    "corners": tuple(zone for zone in frame.ZONES if zone.startswith("corner")),
}
"""The parts of the frame that apertures are ranked for."""

Setup = tuple[float, int]
"""What tells setups of one aperture apart: lens turn and setup."""


def judge_aperture(settings: Sequence[Setting], size: tuple[int, int]) -> list[ApertureRanking]:
    """Rank the apertures of a report by sharpness; all setups of one aperture are one candidate.

    Two apertures are told apart by what is known of their difference: by the differences within setups that both
    were shot in (what a setup does to both drops out), else by how much setups of one aperture differ, else, with
    one setup each, by the noise of their shots.

    Parameters
    ----------
    settings : sequence of Setting
        Those of a report.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    list of ApertureRanking
        One for each of `PARTS` that has a zone which every setting with sharpness has a figure for.
    """
    figures = {number: known for number, setting in enumerate(settings) if (known := mtf50_by_zone(setting))}
    if not figures:
        return []
    shared = set.intersection(*map(set, figures.values()))
    shares = zone_shares(size)
    rankings = []
    for part, zones in PARTS.items():
        common = [zone for zone in zones if zone in shared]
        if common:
            weights = {zone: shares[zone] for zone in common}
            means = {number: mean_over_zones(known, weights) for number, known in figures.items()}
            rankings.append(ApertureRanking(part, common, ranked(settings, means)))
    return rankings


def zone_shares(size: tuple[int, int]) -> dict[str, float]:
    """What part of the frame's area each zone takes."""
    across, down = (
        (np.arange(steps) + 0.5) / steps * side - 0.5 for steps, side in zip((240, 160), size, strict=True)
    )
    x, y = np.meshgrid(across, down)
    counts = np.bincount(frame.zone_index(x, y, size).ravel(), minlength=len(frame.ZONES))
    return dict(zip(frame.ZONES, counts / x.size, strict=True))


def mean_over_zones(figures: dict[str, Figure], shares: dict[str, float]) -> Figure:
    """The mean over zones by their areas; of their noise, the part that all share does not average out."""
    weights = np.array(list(shares.values())) / sum(shares.values())
    chosen = [figures[zone] for zone in shares]
    values, halves = (np.array([getattr(f, name) for f in chosen]) for name in ("value", "half_width"))
    value, common = float(weights @ values), NORMAL_95 * COMMON_RELATIVE_SIGMA
    own = np.maximum(halves**2 - (common * values) ** 2, 0.0)
    return Figure.of(value, float(np.sqrt(weights**2 @ own + (common * value) ** 2)), chosen[0].unit)


def ranked(settings: Sequence[Setting], means: dict[int, Figure]) -> list[ApertureSharpness]:
    """The apertures by one figure, the highest first, with those that are equal to the first one.

    Parameters
    ----------
    settings : sequence of Setting
        Those of a report.
    means : dict of int to Figure
        The figure by the setting's number.
    """
    groups: dict[tuple, dict[Setup, Figure]] = {}
    numbers: dict[tuple, list[int]] = {}
    for number, figure in sorted(means.items(), key=lambda pair: -pair[1].value):
        setting = settings[number]
        aperture = setting.f_number, setting.aperture
        groups.setdefault(aperture, {})[setting.lens_turn_deg, setting.setup] = figure
        numbers.setdefault(aperture, []).append(number)
    joined = {aperture: over_setups(list(setups.values())) for aperture, setups in groups.items()}
    order = sorted(groups, key=lambda aperture: -joined[aperture][0].value)
    best = groups[order[0]]
    return [
        ApertureSharpness(
            f_number=aperture[0],
            aperture=aperture[1],
            settings=numbers[aperture],
            mean=joined[aperture][0],
            spread=joined[aperture][1],
            equal_to_best=not _softer(groups[aperture], best),
        )
        for aperture in order
    ]


def over_setups(figures: list[Figure]) -> tuple[Figure, Figure | None]:
    """Mean and spread over the setups of one aperture; of a single one there is no spread."""
    if len(figures) == 1:
        return figures[0], None
    both = of_repeats("sharpness", "", "", figures)
    return both.mean, both.spread


def _softer(these: dict[Setup, Figure], best: dict[Setup, Figure]) -> bool:
    """Whether an aperture is plainly softer than the sharpest one (95 %)."""
    groups = [
        np.array([(figure.value, figure.half_width) for figure in group.values()]).T for group in (best, these)
    ]
    noise = np.sqrt(sum(np.square(halves).sum() / len(halves) ** 2 for _, halves in groups))
    by = groups[0][0].mean() - groups[1][0].mean()
    shared = these.keys() & best.keys()
    free = sum(len(values) - 1 for values, _ in groups)
    apart = 0.0
    if len(shared) > 1:
        differences = np.array([best[setup].value - these[setup].value for setup in shared])
        by = differences.mean()
        apart = _t(len(shared) - 1) * differences.std(ddof=1) / np.sqrt(len(shared))
    elif free:
        variance = sum(np.square(values - values.mean()).sum() for values, _ in groups) / free
        apart = _t(free) * np.sqrt(variance * sum(1 / len(values) for values, _ in groups))
    return bool(by > max(apart, noise))


def _t(free: int) -> float:
    """Student's t for so many degrees of freedom."""
    return float(stats.t.ppf((1 + CONFIDENCE) / 2, free))
