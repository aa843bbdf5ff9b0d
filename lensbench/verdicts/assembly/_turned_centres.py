"""Optical centres that turn with the lens: all by as much (the whole lens is off its flange's middle), or not."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from lensbench.findings import Camera, TurnTest
from lensbench.verdicts.assembly._centres import together_within
from lensbench.verdicts.assembly._turn_test import matters


def of_centre(test: TurnTest) -> bool:
    """Whether a test is of an optical centre, the whole lens having been turned."""
    return test.turned == "lens" and test.of.startswith("centre of")


def turned_centres(tests: Sequence[TurnTest], camera: Camera) -> str:
    """How the optical centres turn with the lens.

    Returns
    -------
    str
        Empty where none turns by as much as matters; ``together`` where all turn by the same, ``apart`` where some
        don't for sure, ``open`` where that isn't known or only one was seen.
    """
    seen = [test for test in tests if of_centre(test)]
    if not any(test.cause in ("lens", "both") and matters(test, camera) for test in seen):
        return ""
    within = together_within(camera)
    gaps = [_gap(a, b) for a, b in combinations(seen, 2)]
    if any(gap > within + unsure for gap, unsure in gaps):
        return "apart"
    return "together" if gaps and all(gap <= within for gap, _ in gaps) else "open"


def _gap(a: TurnTest, b: TurnTest) -> tuple[float, float]:
    """By how much two centres turn differently, and how much of that their intervals explain."""
    x, y = (one.value - other.value for one, other in zip(a.turns, b.turns, strict=True))
    halves = [part.half_width for part in (*a.turns, *b.turns)]
    return float(np.hypot(x, y)), float(np.linalg.norm(halves))
