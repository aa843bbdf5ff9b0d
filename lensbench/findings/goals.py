"""What a build was to be, and how far it got there."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.tables import Tabular


class Goal(Tabular, msgspec.Struct, frozen=True):
    """One limit that a figure of the build is to keep.

    `what` is the figure, as goals files name it; `part` a ring of zones or a single zone, empty where the figure
    is one for the whole frame. The figure is to be at least `least` and at most `most`, in its own unit.
    """

    what: str
    part: str = ""
    least: float | None = None
    most: float | None = None


class GradedGoal(Tabular, msgspec.Struct, frozen=True):
    """A goal, the figure that it was held against, and the result.

    `zone` is the zone that decides (the worst one of the part). `result` is ``met``, ``missed``, ``too close to
    call`` where the interval holds the limit, or ``can't tell``, with the reason.
    """

    goal: Goal
    result: str
    value: Figure | None = None
    zone: str = ""
    reason: str = ""


class Grades(Tabular, msgspec.Struct, frozen=True):
    """All goals of a build, graded at one aperture.

    `answer` is ``met``, ``missed`` (as soon as one is), ``too close to call`` or ``can't tell``. `setups` is from
    how many setups the figures are; `chosen` is ``asked for``, ``only one`` or ``meets most``.
    """

    answer: str
    aperture: str
    setups: int
    chosen: str
    goals: list[GradedGoal]
