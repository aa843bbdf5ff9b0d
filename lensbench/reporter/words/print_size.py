"""How large a picture may be printed, in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lensbench.findings import PrintSize, Report
from lensbench.formatting import number, unbroken
from lensbench.reporter.values.zones import in_the
from lensbench.reporter.words.zones import alone, unmeasured_in_words

DISTANCE = "seen from 30 cm, reading distance"


def prints_of(report: Report) -> list[PrintSize]:
    """What was concluded on prints; empty where nothing was."""
    return report.verdict.prints if report.verdict else []


def print_in_short(prints: Sequence[PrintSize]) -> str:
    """Such as ``17 × 11 cm all over, 30 × 20 cm in the centre``: sizes that are sure."""
    shown = prints[-1:] if prints[-1].zone == "centre" else reversed(prints)
    return ", ".join(f"{sure_size(one)} {_where(one)}" for one in shown)


def _where(one: PrintSize) -> str:
    if one.part == "centre":
        return "in the centre"
    return "wherever it was measured" if one.unmeasured else "all over"


def prints_in_words(prints: Sequence[PrintSize]) -> str:
    """Sentences on the whole print and its centre, on what at least means, and on sheets that a builder knows."""
    whole = prints[-1]
    said = f"A print looks sharp to at least {print_in_short(prints)} ({DISTANCE}), at {whole.aperture}"
    if whole.part == "frame" and whole.zone != "centre":
        said += f"; {in_the(whole.zone)}{alone(whole.direction)} goes soft first"
    least = "At least, because the sizes are those of the interval's lower end, rounded down"
    return f"{said}. {least}. {paper_in_words(whole)}{unmeasured_in_words(whole.unmeasured)}"


def paper_in_words(one: PrintSize) -> str:
    """The largest sheet that stays sharp, as surely as the figures say it."""
    where = _where(one)
    if not one.perhaps:
        return f"Even a postcard print is soft {'somewhere' if one.part == 'frame' else 'in its centre'}."
    if not one.surely:
        return f"Whether a {one.perhaps} print stays sharp {where} is too close to call."
    said = f"The largest usual sheet that stays sharp {where} is {_article(one.surely)} {one.surely}"
    return f"{said}; {one.perhaps} is too close to call." if one.perhaps != one.surely else f"{said}."


def sure_size(one: PrintSize) -> str:
    """The sides at the interval's lower end, both rounded down to whole centimetres, or to tenths below ten."""
    sides = [max(length.low, 0.0) for length in (one.long_cm, one.short_cm)]
    decimals = 0 if sides[1] >= 10 else 1
    return unbroken(f"{_down(sides[0], decimals)} × {_down(sides[1], decimals)} cm")


def _down(length_cm: float, decimals: int) -> str:
    return number(math.floor(10**decimals * length_cm) / 10**decimals, decimals)


def _article(sheet: str) -> str:
    return "an" if sheet.startswith("A") else "a"
