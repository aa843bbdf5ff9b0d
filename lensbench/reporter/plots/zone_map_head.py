"""The head of the zone map: whose picture it is, the answers in a line, and the goals with how they were met."""

from __future__ import annotations

import textwrap

from matplotlib.figure import Figure as Drawing

from lensbench.findings import UNTOLD, Report
from lensbench.findings.goals import Grades
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import house_mark, write_at
from lensbench.reporter.values.goals import grades_of
from lensbench.reporter.words.captions import about_the_shots
from lensbench.reporter.words.goals import answer_in_short, goal_in_short

# Inches, and letters a line; chosen by eye.
_PLAIN = 0.95
_GOALS = 0.34
_LINE = 0.19
_WIDEST_NAME = 56
_WIDEST_GOAL = 100

MOST_GOALS = 6
"""So many goals are named, those missed first; the rest are counted."""

_SIGNS = {"met": ("✓", style.COLOURS["green"]), "missed": ("✗", style.COLOURS["red"])}
_UNSURE = ("?", style.MUTED)


def head_height(report: Report) -> float:
    """How much of the sheet the head takes, in inches."""
    grades = grades_of(report)
    return _PLAIN + (_GOALS + _LINE * len(_lines(grades)) if grades else 0.0)


def draw_head(sheet: Drawing, report: Report, left: float) -> None:
    """Draw the head at the sheet's top."""
    house_mark(sheet, left, 0.3, 0.4)
    name = textwrap.shorten(" ".join(report.build.name.split()), _WIDEST_NAME, placeholder=" …")
    write_at(sheet, left + 0.55, 0.5, _printable(name), fontsize=15, weight="bold")
    write_at(sheet, left + 0.55, 0.7, _printable(about_the_shots(report)), fontsize=8.5, color=style.MUTED)
    grades = grades_of(report)
    if grades is None:
        return
    top = _PLAIN + 0.06
    sign, ink = _SIGNS.get(grades.answer, _UNSURE)
    write_at(sheet, left, top, sign, fontsize=13, weight="bold", color=ink)
    answer = f"{answer_in_short(grades)} at {grades.aperture}"
    write_at(sheet, left + 0.26, top, _printable(answer), fontsize=12, weight="bold")
    for number, (sign, ink, line) in enumerate(_lines(grades), start=1):
        baseline = top + 0.06 + _LINE * number
        write_at(sheet, left + 0.02, baseline, sign, fontsize=8.5, color=ink)
        write_at(sheet, left + 0.26, baseline, _printable(line), fontsize=8.5)


def _lines(grades: Grades) -> list[tuple[str, str, str]]:
    """A line a goal: its sign, the sign's ink, the goal with its figure; those that aren't met first."""
    order = ("missed", "too close to call", UNTOLD, "met")
    goals = sorted(grades.goals, key=lambda one: order.index(one.result))
    lines = [
        (*_SIGNS.get(one.result, _UNSURE), textwrap.shorten(goal_in_short(one), _WIDEST_GOAL, placeholder=" …"))
        for one in goals[:MOST_GOALS]
    ]
    if len(goals) > MOST_GOALS:
        lines.append(("", style.MUTED, f"and {len(goals) - MOST_GOALS} more"))
    return lines


def _printable(text: str) -> str:
    """Text without what no letter stands for, such as escapes."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
