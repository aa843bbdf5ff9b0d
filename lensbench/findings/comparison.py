"""Builds compared with each other: what differs, and whether that is more than setting up anew changes."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.files import WrittenFile
from lensbench.findings.build import Build
from lensbench.findings.tables import Tabular

COMPARISON_FILE = "comparison.json"


class Difference(Tabular, msgspec.Struct, frozen=True):
    """One figure of two builds at one aperture: the later build's less the earlier one's.

    `what` is ``sharpness`` (MTF50, mean of directions), ``softer right`` or ``softer bottom`` (how much softer
    that side is than the one across, in percent), ``fringing`` (distance of a colour from green), ``falloff``,
    ``magnification``, ``distortion`` or ``marks``; `part` the zone or the part of the frame (``frame``,
    ``centre``, ``corners``).
    `difference` has the 95 % interval that the setups leave it, or, where neither build was set up twice, that of
    the shots' noise alone (`setups_known` is false then). `smallest_difference` is the smallest one that counts,
    all headline figures taken together; None where no setups are known. `counts` says whether this one does.
    """

    what: str
    part: str
    channel: str
    before: Figure
    after: Figure
    difference: Figure
    smallest_difference: float | None
    counts: bool
    setups_known: bool
    better: bool | None = None


class ComparedAperture(Tabular, msgspec.Struct, frozen=True):
    """Two builds at one aperture: headline figures first, then zone by zone.

    `setups` are the numbers of setups, the earlier build's first. `needed` is about how many setups of each build
    would distinguish the largest headline difference from chance; None where it is distinguished already.
    """

    aperture: str
    setups: tuple[int, int]
    headlines: list[Difference]
    zones: list[Difference]
    needed: int | None = None


class BuildChange(Tabular, msgspec.Struct, frozen=True):
    """From one build to the next: what was changed, under which conditions they were measured, what differs.

    `answer` is ``better``, ``worse``, ``mixed`` (better in some, worse in others), ``different`` (in size only),
    ``no difference`` (that setups
    would not make as well) or ``can't tell``. `unlike` are conditions that were not the same, a sentence each.
    """

    before: Build
    after: Build
    answer: str
    unlike: list[str]
    apertures: list[ComparedAperture]


class Comparison(Tabular, msgspec.Struct, frozen=True):
    """Builds in order of date, each compared with the one before; `files` is what was written with it."""

    builds: list[Build]
    changes: list[BuildChange]
    format: str = "lensbench-comparison/1"
    files: list[WrittenFile] = []
