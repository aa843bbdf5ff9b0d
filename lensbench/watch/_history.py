"""Shots seen so far, and how much sharper or softer each new one is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from msgspec import structs
from scipy.stats import t as student

from lensbench.figure import Figure
from lensbench.watch._looks import SPOTS, Change, Look

EdgeKey = tuple[int, int, int]
"""A tile's column and row, and the leg."""

FEWEST_SHARED = 4
"""Edges that both shots must show at a spot to be compared there: fewer tell nothing of their own scatter."""


UNTRUSTED = {"clipped", "dark", "unmeasurable", "motion"}
"""Problems of shots whose sharpness nothing is held against."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A look, and the spot and log MTF50 of each edge measured."""

    look: Look
    edges: dict[EdgeKey, tuple[int, float]]


@dataclass(eq=False)
class History:
    """What was seen so far, the latest last; a file looked at again takes its earlier look's place."""

    seen: list[Seen] = field(default_factory=list)

    def add(self, new: Seen) -> Look:
        """Take in a look, and give it back compared with the last and with the best before it."""
        earlier = [one for one in self.seen if one.look.file != new.look.file]
        alike = [one for one in earlier if one.edges and taken_alike(one.look, new.look)]
        look = structs.replace(
            new.look,
            since_last=change_since(alike[-1], new) if alike else None,
            since_best=change_since_best(alike, new),
        )
        self.seen = [*earlier, Seen(look, new.edges)]
        return look

    @property
    def looks(self) -> list[Look]:
        """All looks, the latest last."""
        return [one.look for one in self.seen]


def taken_alike(one: Look, other: Look) -> bool:
    """Whether two shots may be compared: an aperture that is known to have changed changes sharpness too."""
    return (one.size_px, one.f_number) == (other.size_px, other.f_number)


def change_since_best(earlier: Iterable[Seen], now: Seen) -> Change | None:
    """A shot compared with the sharpest of some others, of those that show the same tiles in the middle."""
    trusted = [one for one in earlier if not {problem.code for problem in one.look.problems} & UNTRUSTED]
    known = [(figure.value, one) for one in trusted if (figure := one.look.mtf50(SPOTS[0])) is not None]
    for _, best in sorted(known, key=lambda pair: -pair[0]):
        change = change_since(best, now)
        if change is not None and SPOTS[0] in change.percent:
            return change
    return None


def change_since(before: Seen, now: Seen) -> Change | None:
    """By how much a shot is sharper than an earlier one, edge by edge of those that both show.

    The interval comes from how much the edges' changes scatter: it counts their noise, and that sharpness changes
    otherwise along the radius than across it. None where the shots share too few edges.
    """
    shared = before.edges.keys() & now.edges.keys()
    changes = {}
    for number, spot in enumerate(SPOTS):
        ratios = [now.edges[key][1] - before.edges[key][1] for key in shared if now.edges[key][0] == number]
        if len(ratios) >= FEWEST_SHARED:
            half = float(student.ppf(0.975, len(ratios) - 1)) * np.std(ratios, ddof=1) / np.sqrt(len(ratios))
            mean = float(np.mean(ratios))
            value, low, high = (100 * float(np.expm1(end)) for end in (mean, mean - half, mean + half))
            changes[spot] = Figure(value, low, high, "%")
    return Change(before.look.file, changes) if changes else None
