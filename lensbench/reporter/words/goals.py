"""Goals and how they were met, in sentences."""

from __future__ import annotations

from lensbench.findings import UNTOLD
from lensbench.findings.goals import Goal, GradedGoal, Grades
from lensbench.formatting import first_capital, with_interval

_NOT_MET = ("missed", "too close to call", UNTOLD)

_NAMES = {
    "mtf50_lp_mm": ("MTF50", "lp/mm"),
    "mtf50_percent_of_possible": ("MTF50, of the best possible", "%"),
    "magnification": ("magnification", "×"),
    "field_of_view_deg": ("field of view", "°"),
    "focal_length_mm": ("focal length", "mm"),
    "distortion_percent": ("distortion at the corners", "%"),
    "corner_falloff_stops": ("falloff in the darkest corner", "stops"),
    "fringing_px": ("fringing in the worst zone", "px"),
    "glare_percent": ("glare in the worst zone", "%"),
    "glow_percent": ("glow in the worst zone", "%"),
    "marks": ("marks of dirt", ""),
}
"""How each figure is called in a sentence, and its unit."""


def goal_name(goal: Goal) -> str:
    """What was wanted, such as ``MTF50, corner``."""
    name, _ = _NAMES[goal.what]
    return f"{name}, {goal.part}" if goal.part else name


def limit_in_words(goal: Goal) -> str:
    """The limit, such as ``at least 25 lp/mm`` or ``19 to 21 mm``."""
    unit = f" {_NAMES[goal.what][1]}".rstrip()
    if goal.least is not None and goal.most is not None:
        return f"{goal.least:g} to {goal.most:g}{unit}"
    return f"at least {goal.least:g}{unit}" if goal.least is not None else f"at most {goal.most:g}{unit}"


def answer_in_short(grades: Grades) -> str:
    """All results counted, such as ``3 of 6 goals met, 2 missed, 1 can't tell``."""
    all_of = len(grades.goals)
    if all_of == 1:
        return f"Goal {grades.answer}" if grades.answer != UNTOLD else f"{UNTOLD.capitalize()} of the goal"
    if grades.answer == "met":
        return f"All {all_of} goals met"
    others = [f"{count} {result}" for result in _NOT_MET if (count := _count(grades, result))]
    return f"{_count(grades, 'met')} of {all_of} goals met, {', '.join(others)}"


def not_met(grades: Grades) -> list[GradedGoal]:
    """The goals that weren't met although their figures are known, those missed first."""
    known = [one for one in grades.goals if one.result in _NOT_MET[:2]]
    return sorted(known, key=lambda one: _NOT_MET.index(one.result))


def goals_in_words(grades: Grades) -> list[str]:
    """A sentence each on the goals that weren't met, those missed first."""
    return [f"{first_capital(goal_in_short(one))}." for one in not_met(grades)]


def goal_in_short(one: GradedGoal) -> str:
    """A goal with its result and figures, such as ``MTF50, corner missed: 15 ± 1 lp/mm, at least 18 wanted``."""
    figure = f": {_figure(one)}" if one.value else ""
    return f"{goal_name(one.goal)} {one.result}{figure}, {limit_in_words(one.goal)} wanted"


def goal_with_figures(one: GradedGoal) -> str:
    """A goal with its figures, such as ``MTF50, corner 15 ± 1 lp/mm, at least 18 lp/mm wanted``."""
    figure = f" {_figure(one)}" if one.value else ""
    return f"{goal_name(one.goal)}{figure}, {limit_in_words(one.goal)} wanted"


def _figure(one: GradedGoal) -> str:
    where = f" ({one.zone})" if one.zone and one.zone != one.goal.part else ""
    return f"{with_interval(one.value)}{where}"


def grades_in_words(grades: Grades) -> list[str]:
    """What the table leaves open, in sentences: the aperture, and why something can't be told."""
    if not grades.setups:
        return [f"{first_capital(one.reason)}." for one in grades.goals[:1]]
    how = {
        "asked for": "as the goals ask for",
        "only one": "the only one measured",
        "meets most": "the aperture that meets most of them",
    }[grades.chosen]
    setups = f"means over {grades.setups} setups" if grades.setups > 1 else "one setup: refocusing may change it"
    said = [f"Graded at {grades.aperture}, {how} ({setups})."]
    said += [
        f"{first_capital(goal_name(one.goal))} can't be told: {one.reason}."
        for one in _untold(grades)
        if one.reason
    ]
    return said


def _count(grades: Grades, result: str) -> int:
    return sum(one.result == result for one in grades.goals)


def _untold(grades: Grades) -> list[GradedGoal]:
    return [one for one in grades.goals if one.result == UNTOLD]
