"""Two builds held against each other, judged by how much setting up anew changes the figures.

The headline figures are tested together at 5 % (Student's t for a difference of two means with a common spread,
Bonferroni's correction for their number); a zone's difference counts only where a headline of its kind does and it
passes the same test among the zones of its kind (a closed test: Marcus, Peritz and Gabriel, On closed testing
procedures, Biometrika 63, 1976). So of a hundred pairs of the same build at most five show anything at all.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from scipy import stats

from lensbench.figure import NORMAL_95, Figure
from lensbench.findings import UNTOLD, Report, Setting
from lensbench.findings.comparison import BuildChange, ComparedAperture, Comparison, Difference
from lensbench.verdicts.comparison._conditions import refusals, setups_at, shared_apertures, unlike
from lensbench.verdicts.comparison._figures import Figures, Name, headline_figures, zone_figures

ALL_TOGETHER = 0.05
"""How often any difference at all may be called between setups of one build."""

MOST_SETUPS = 30

_KIND = {"softer right": "sharpness", "softer bottom": "sharpness"}
_MORE_IS_BETTER = {"sharpness": True, "fringing": False, "falloff": False, "distortion": False}


def compare_builds(reports: Sequence[Report]) -> Comparison:
    """Hold builds against each other, each against the one before.

    Parameters
    ----------
    reports : sequence of Report
        Two or more. They are put in order of their builds' dates where all have one, and else stay in this order.

    Returns
    -------
    Comparison
    """
    dated = all(report.build.date for report in reports)
    ordered = sorted(reports, key=lambda report: report.build.date) if dated else list(reports)
    changes = [_change(before, after) for before, after in itertools.pairwise(ordered)]
    return Comparison([report.build for report in ordered], changes)


def _change(before: Report, after: Report) -> BuildChange:
    refused = list(refusals(before, after))
    if refused:
        return BuildChange(before.build, after.build, UNTOLD, refused, [])
    per_mm = bool(before.camera.pixel_pitch_um and after.camera.pixel_pitch_um)
    pairs = {
        aperture: (_setups(setups_at(before, aperture), per_mm), _setups(setups_at(after, aperture), per_mm))
        for aperture in shared_apertures(before, after)
    }
    shared = {aperture: _shared_headlines(*pair) for aperture, pair in pairs.items()}
    family = max(sum(len(names) for names in shared.values()), 1)
    compared = [_at_aperture(aperture, *pairs[aperture], shared[aperture], family) for aperture in pairs]
    return BuildChange(before.build, after.build, _answer(compared), list(unlike(before, after)), compared)


class _Setups(NamedTuple):
    """What the setups of one build show at one aperture: zone figures that all of them share, and headlines."""

    zones: list[Figures]
    headlines: list[Figures]

    @property
    def number(self) -> int:
        return len(self.zones)


def _setups(settings: Sequence[Setting], per_mm: bool) -> _Setups:
    zones = [zone_figures(setting, per_mm) for setting in settings]
    names = set.intersection(*(set(one) for one in zones))
    zones = [{name: one[name] for name in one if name in names} for one in zones]
    return _Setups(zones, [headline_figures(s, z) for s, z in zip(settings, zones, strict=True)])


def _shared_headlines(before: _Setups, after: _Setups) -> list[Name]:
    every = [set(one) for one in (*before.headlines, *after.headlines)]
    names = set.intersection(*every)
    return [name for name in before.headlines[0] if name in names]


def _at_aperture(
    aperture: str, before: _Setups, after: _Setups, headline_names: Sequence[Name], family: int
) -> ComparedAperture:
    headlines = [_difference(name, before.headlines, after.headlines, family) for name in headline_names]
    real = {_kind(one.what) for one in headlines if one.counts}
    zone_names = [name for name in before.zones[0] if name in after.zones[0]]
    zones = []
    for name in zone_names:
        among = sum(other.what == name.what for other in zone_names)
        found = _difference(name, before.zones, after.zones, among)
        zones.append(found if name.what in real else _not_counted(found))
    return ComparedAperture(
        aperture,
        (before.number, after.number),
        headlines,
        zones,
        None if real else _setups_needed(headlines, before, after, family),
    )


def _kind(what: str) -> str:
    return _KIND.get(what, what)


def _difference(
    name: Name, before: Sequence[Mapping[Name, Figure]], after: Sequence[Mapping[Name, Figure]], family: int
) -> Difference:
    """One figure's difference between the builds, one of a family that is tested together."""
    ours, theirs = [one[name] for one in before], [one[name] for one in after]
    one, other = _mean(ours), _mean(theirs)
    value = other.value - one.value
    free = len(ours) + len(theirs) - 2
    if not free:
        difference = Figure.of(value, math.hypot(one.half_width, other.half_width), one.unit)
        return Difference(*name, one, other, difference, None, counts=False, setups_known=False)
    # Setups scatter sharpness by a share of it, other figures by an amount.
    to_scale, from_scale = (math.log, math.exp) if name.what == "sharpness" else (float, float)
    error = _setup_sigma(ours, theirs, name.what == "sharpness") * math.sqrt(1 / len(ours) + 1 / len(theirs))
    reach, least = _student(0.05, free) * error, _student(ALL_TOGETHER / family, free) * error
    low, high = (from_scale(to_scale(other.value) + side * reach) - one.value for side in (-1, 1))
    smallest = from_scale(to_scale(one.value) + least) - one.value
    counts = abs(to_scale(other.value) - to_scale(one.value)) > least
    better = _is_better(name.what, one, other) if counts else None
    return Difference(*name, one, other, Figure(value, low, high, one.unit), smallest, counts, True, better)


@functools.cache
def _student(error_rate: float, free: int) -> float:
    """Student's t that chance passes, to either side, at some rate."""
    return float(stats.t.ppf(1 - error_rate / 2, free))


def _not_counted(one: Difference) -> Difference:
    return Difference(
        one.what, one.part, one.channel, one.before, one.after, one.difference, one.smallest_difference, False,
        one.setups_known,
    )  # fmt: skip


def _setup_sigma(ours: Sequence[Figure], theirs: Sequence[Figure], relative: bool) -> float:
    """Standard deviation of one setup, common to both builds, of the logarithm where it is relative.

    It is at least what the shots' noise makes.
    """
    sides = [np.array([figure.value for figure in side]) for side in (ours, theirs)]
    scale = np.concatenate(sides) if relative else 1.0
    noise = np.mean((np.array([figure.half_width for figure in (*ours, *theirs)]) / NORMAL_95 / scale) ** 2)
    deviations = [np.log(side) if relative else side for side in sides]
    squares = sum(float(side.var()) * len(side) for side in deviations)
    return math.sqrt(max(squares / (len(ours) + len(theirs) - 2), float(noise)))


def _mean(figures: Sequence[Figure]) -> Figure:
    half = math.sqrt(sum(figure.half_width**2 for figure in figures)) / len(figures)
    return Figure.of(float(np.mean([figure.value for figure in figures])), half, figures[0].unit)


def _is_better(what: str, before: Figure, after: Figure) -> bool | None:
    if what in ("softer right", "softer bottom", "distortion"):
        return abs(after.value) < abs(before.value)
    return (after.value > before.value) == _MORE_IS_BETTER[what] if what in _MORE_IS_BETTER else None


def _setups_needed(headlines: Sequence[Difference], before: _Setups, after: _Setups, family: int) -> int | None:
    """About how many setups of each build would tell the largest headline difference from chance."""
    scale = math.sqrt(1 / before.number + 1 / after.number)
    free = before.number + after.number - 2
    if not free:
        return None
    critical = _student(ALL_TOGETHER / family, free)
    # A difference in standard deviations of one setup.
    ratios = [
        abs(one.difference.value) / (one.smallest_difference / critical / scale)
        for one in headlines
        if one.smallest_difference
    ]
    if not ratios:
        return None
    for count in range(max(before.number, after.number, 2), MOST_SETUPS + 1):
        needed = _student(ALL_TOGETHER / family, 2 * count - 2)
        if needed * math.sqrt(2 / count) < max(ratios):
            return count
    return None


def _answer(compared: Sequence[ComparedAperture]) -> str:
    headlines = [one for aperture in compared for one in aperture.headlines]
    better = {one.better for one in headlines if one.counts and one.better is not None}
    if better == {True, False}:
        return "mixed"
    if better:
        return "better" if better == {True} else "worse"
    if any(one.counts for one in headlines):
        return "different"
    return "no difference" if any(one.setups_known for one in headlines) else UNTOLD
