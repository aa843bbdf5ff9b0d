"""Which settings of a report a picture's correction comes from, and with what weights."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from lensbench.errors import BenchError
from lensbench.formatting import NOT_MEASURED, aperture_name, listed

SAME_STOPS = 1 / 6
"""Apertures that differ by no more than this are one: f-numbers are marked in thirds of a stop."""

SAME_REACH = 0.015
"""Magnifications at which 1 + m, and so the image distance, differs by no more than this part are one: the field
angle then differs by as much, and a stop of falloff, which grows with its square, by 0.03."""


class Taken(NamedTuple):
    """How a picture was taken, as far as it is told: by f-number, or by an aperture's own name."""

    f_number: float | None = None
    aperture: str | None = None
    magnification: float | None = None

    @property
    def label(self) -> str:
        """The aperture as the user calls it."""
        return aperture_name(self.f_number, self.aperture)


class Measured(NamedTuple):
    """How a setting was taken, and where it stands in the report."""

    number: int
    f_number: float | None
    aperture: str | None
    magnification: float | None

    @property
    def label(self) -> str:
        """The aperture as the user calls it."""
        return aperture_name(self.f_number, self.aperture)


@dataclass(frozen=True)
class Weighted:
    """A setting's place in the report and its weight; all weights of a choice add up to 1."""

    number: int
    weight: float


def aperture_from_words(words: str) -> Taken:
    """An aperture as typed: ``5.6``, ``f/5.6``, or a name such as ``third click``.

    Raises
    ------
    BenchError
        Where the f-number is none.
    """
    text = words.strip()
    number = text[2:] if text.lower().startswith("f/") else text
    try:
        f_number = float(number)
    except ValueError:
        if text and not text.lower().startswith("f/"):
            return Taken(aperture=text)
        f_number = math.nan
    if not 0.3 <= f_number <= 1000:
        raise BenchError(f"--aperture {words}: is no f-number. Give it such as 5.6, or by the name in the report.")
    return Taken(f_number=f_number)


def choose(what: str, settings: Sequence[Measured], taken: Taken) -> list[Weighted]:
    """The settings whose findings, so weighted, hold for a picture.

    Between f-numbers the weights go by the stops between, and between magnifications by the magnification itself.

    Parameters
    ----------
    what : str
        What is looked for, as messages call it.
    settings : sequence of Measured
        Those in which it was measured; at least one.
    taken : Taken
        How the picture was taken.

    Raises
    ------
    BenchError
        Where the picture's aperture or magnification lies outside of those measured, or isn't told but needed.
    """
    groups = _by_magnification(settings)
    if len(groups) > 1 and taken.magnification is None:
        raise BenchError(
            f"The report holds {what} at the magnifications {listed([_times(m) for m, _ in groups])}, and no "
            "picture records its own. Give it with --magnification."
        )
    chosen = []
    for (_, group), weight in _between_magnifications(what, groups, taken):
        chosen += [Weighted(w.number, w.weight * weight) for w in _between_apertures(what, group, taken)]
    return chosen


def _by_magnification(settings: Sequence[Measured]) -> list[tuple[float | None, list[Measured]]]:
    """Settings of like magnification together, in rising order; those without any are a group of their own."""
    known = sorted((s for s in settings if s.magnification is not None), key=lambda s: s.magnification or 0.0)
    groups: list[list[Measured]] = []
    for setting in known:
        if groups and _same_reach(groups[-1][0].magnification or 0.0, setting.magnification or 0.0):
            groups[-1].append(setting)
        else:
            groups.append([setting])
    if not groups:
        return [(None, list(settings))]
    # A flat has no magnification of its own: it belongs to the only one there is.
    if len(groups) == 1:
        groups[0] += [s for s in settings if s.magnification is None]
    means = [[s.magnification for s in group if s.magnification is not None] for group in groups]
    return [(sum(mean) / len(mean), group) for mean, group in zip(means, groups, strict=True)]


def _same_reach(one: float, other: float) -> bool:
    return abs(math.log((1 + one) / (1 + other))) <= SAME_REACH


_Group = tuple[float | None, list[Measured]]


def _between_magnifications(what: str, groups: list[_Group], taken: Taken) -> list[tuple[_Group, float]]:
    wanted = taken.magnification
    if wanted is None:
        return [(groups[0], 1.0)]
    for group in groups:
        if group[0] is not None and _same_reach(group[0], wanted):
            return [(group, 1.0)]
    for lower, upper in pairwise(groups):
        if lower[0] is not None and upper[0] is not None and lower[0] < wanted < upper[0]:
            part = (wanted - lower[0]) / (upper[0] - lower[0])
            return [(lower, 1 - part), (upper, part)]
    if groups[0][0] is None:
        raise BenchError(
            f"The report doesn't say at which magnification {what} was measured, so nothing can be said for "
            f"{_times(wanted)}. Leave --magnification out if it was the picture's, or measure with a target shot."
        )
    measured = " to ".join(dict.fromkeys(_times(groups[n][0]) for n in (0, -1)))
    raise BenchError(
        f"{what.capitalize()} was measured at {measured}, and a picture taken at {_times(wanted)} lies outside of "
        "that. Measure at its magnification too, as another setup."
    )


def _between_apertures(what: str, group: list[Measured], taken: Taken) -> list[Weighted]:
    rising = sorted(group, key=lambda s: (s.f_number is None, s.f_number or 0.0))
    labels = list(dict.fromkeys(s.label for s in rising))
    if taken.f_number is None and taken.aperture is None:
        if len(labels) > 1:
            raise BenchError(
                f"The report holds {what} at {listed(labels)}, and a home-built lens records no aperture. Give "
                "the pictures' with --aperture."
            )
        return [Weighted(group[0].number, 1.0)]
    for setting in group:
        named = taken.aperture is not None and taken.aperture == setting.aperture
        if named or _stops_between(taken.f_number, setting.f_number) <= SAME_STOPS:
            return [Weighted(setting.number, 1.0)]
    numbered = sorted((s for s in group if s.f_number), key=lambda s: s.f_number or 0.0)
    for lower, upper in pairwise(numbered):
        if (
            taken.f_number
            and lower.f_number
            and upper.f_number
            and lower.f_number < taken.f_number < upper.f_number
        ):
            part = math.log(taken.f_number / lower.f_number) / math.log(upper.f_number / lower.f_number)
            return [Weighted(lower.number, 1 - part), Weighted(upper.number, part)]
    advice = "Measure at that aperture too, or leave it out with --skip."
    raise BenchError(
        f"{what.capitalize()} was measured at {listed(labels)}, and {taken.label} lies outside of that. {advice}"
    )


def _stops_between(one: float | None, other: float | None) -> float:
    return 2 * abs(math.log2(one / other)) if one and other else math.inf


def _times(magnification: float | None) -> str:
    return f"{magnification:.3g}×" if magnification is not None else NOT_MEASURED
