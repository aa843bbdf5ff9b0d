"""How large a picture may be printed, in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lensbench.findings import PrintSize, Report
from lensbench.reporter.values.zones import in_the

DISTANCE = "seen from 30 cm, reading distance"


def prints_of(report: Report) -> list[PrintSize]:
    """What was concluded on prints; empty where nothing was."""
    return report.verdict.prints if report.verdict else []


def print_in_short(prints: Sequence[PrintSize]) -> str:
    """Such as ``17 × 11 cm all over, 30 × 20 cm in the centre``: sizes that are sure."""
    words = {"frame": "all over", "centre": "in the centre"}
    shown = prints[-1:] if prints[-1].zone == "centre" else reversed(prints)
    return ", ".join(f"{sure_size(one)} {words[one.part]}" for one in shown)


def prints_in_words(prints: Sequence[PrintSize]) -> str:
    """Two sentences: on the whole print and its centre, and on the sheets of paper that a builder knows."""
    whole = prints[-1]
    said = f"A print looks sharp to {print_in_short(prints)} ({DISTANCE}), at {whole.aperture}"
    if whole.part == "frame" and whole.zone != "centre":
        said += f"; {in_the(whole.zone)} goes soft first"
    return f"{said}. {paper_in_words(whole)}"


def paper_in_words(one: PrintSize) -> str:
    """The largest sheet that stays sharp, as surely as the figures say it."""
    where = "all over" if one.part == "frame" else "in the centre"
    if not one.perhaps:
        return f"Even a postcard print is soft {'somewhere' if one.part == 'frame' else 'in its centre'}."
    if not one.surely:
        return f"Whether a {one.perhaps} print stays sharp {where} is too close to call."
    said = f"The largest usual sheet that stays sharp {where} is {_article(one.surely)} {one.surely}"
    return f"{said}; {one.perhaps} is too close to call." if one.perhaps != one.surely else f"{said}."


def sure_size(one: PrintSize) -> str:
    """The sides at the interval's lower end, rounded down: the print is sharp to that at least."""
    return f"{_down(one.long_cm.low)} × {_down(one.short_cm.low)} cm"


def _down(length_cm: float) -> str:
    """A length rounded down: whole centimetres from ten on, tenths below."""
    length_cm = max(length_cm, 0.0)
    return f"{math.floor(length_cm)}" if length_cm >= 10 else f"{math.floor(10 * length_cm) / 10:g}"


def _article(sheet: str) -> str:
    return "an" if sheet.startswith("A") else "a"
