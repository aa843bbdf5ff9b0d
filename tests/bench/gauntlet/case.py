"""A cause of misleading shots, and how one shot of it is scored."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from lensbench.errors import BenchError
from lensbench.loaders import load_session
from lensbench.run import measure_session
from tests.bench.gauntlet.draft import Draft
from tests.bench.gauntlet.truth import Off, deviations

WRONG_FROM = 3.0
"""Half-widths: a figure farther off, with no word on the cause, is wrong."""

FIRST_SEED = 610_000
"""Seeds from here on are this study's own."""

NAMES_A_CAUSE = frozenset(
    {
        *("left-out", "tiles", "motion", "double-image", "uneven-light", "odd-light"),
        *("sharpened", "tone-curve", "noise-reduced", "mirrored", "clipped", "dark", "dark-centre", "tilted"),
        *("not-flat", "print-limited", "unlike", "rulers", "too-sharp", "incomparable"),
        *("black-level", "brightened", "coarse-numbers", "mosaic", "other-aperture"),
    }
)
"""Codes of which a clean shot may carry none."""


class Hidden(NamedTuple):
    """What no shot can reveal of a cause: strengths nearer to `harmless` than `until` is.

    `sentence` is what the guide says of it, word for word.
    """

    until: float
    sentence: str
    harmless: float = 0.0

    def holds(self, strength: float) -> bool:
        """Whether a strength is that small, to the same side."""
        part = (strength - self.harmless) / (self.until - self.harmless)
        return 0 <= part <= 1


@dataclass(frozen=True)
class Cause:
    """One way in which shots mislead.

    Attributes
    ----------
    name : str
        As on the command line.
    strengths : tuple of float
        Four of them, about 0.3, 1, 2 and 5 times the one at which figures move by three half-widths.
    unit : str
        What strengths are counted in.
    spoil : callable
        Called with the draft and a strength; changes the draft.
    codes : frozenset of str
        Of notices any of which names the cause, or what can't be told from it.
    shows : str
        ``target`` or ``flat``.
    words : str
        Where the code is of many causes: what the notice must say besides.
    hidden : tuple of Hidden
        What the guide says of strengths that leave no trace, or too faint a one.
    """

    name: str
    strengths: tuple[float, ...]
    unit: str
    spoil: Callable[[Draft, float], object]
    codes: frozenset[str]
    shows: str = "target"
    words: str = ""
    hidden: tuple[Hidden, ...] = ()

    def unrevealed(self, strength: float) -> str:
        """The guide's sentence on why nothing can be said at a strength; empty where something must be."""
        return next((hidden.sentence for hidden in self.hidden if hidden.holds(strength)), "")


HIDDEN = "cannot be revealed"

OUTCOMES = ("right", "warned", "refused", HIDDEN, "WRONG")
"""Wrong figures without a word are WRONG, but where the guide says that this cause leaves no trace so weak."""


@dataclass(frozen=True)
class Scored:
    """What came of one shot: an outcome out of `OUTCOMES`.

    `named` are the codes given that name the cause, `others` those that don't, `worst` the figure farthest off,
    and `wrong` how many are too far off.
    """

    outcome: str
    named: tuple[str, ...]
    others: tuple[str, ...]
    worst: Off | None
    wrong: int
    texts: tuple[str, ...]


def score(cause: Cause, strength: float, seed: int) -> Scored:
    """Spoil one shot, measure its session, and hold the figures against the honest truth."""
    draft = Draft(seed, cause.shows)
    cause.spoil(draft, strength)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "session"
        draft.write(folder)
        try:
            report = measure_session(load_session(folder), workers=1)
        except BenchError as error:
            return Scored("refused", (), (), None, 0, (str(error),))
    named = [n for n in report.warnings if n.code in cause.codes and cause.words in n.text]
    others = [n.code for n in report.warnings if n not in named]
    known = (
        one
        for one in deviations(report, draft.lens, draft.gaussian, draft.others)
        if one.name not in draft.unknown
    )
    off = sorted(known, key=lambda one: -one.half_widths)
    wrong = sum(one.half_widths > WRONG_FROM for one in off)
    missed = HIDDEN if cause.unrevealed(strength) else "WRONG"
    outcome = "warned" if named else missed if wrong else "right"
    codes = tuple(dict.fromkeys(n.code for n in named))
    texts = tuple(n.text for n in report.warnings)
    return Scored(outcome, codes, tuple(dict.fromkeys(others)), off[0] if off else None, wrong, texts)
