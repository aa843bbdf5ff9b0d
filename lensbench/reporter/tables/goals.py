"""The table of goals: each with what was wanted, what was measured, and the result."""

from __future__ import annotations

from lensbench.findings.goals import Grades
from lensbench.formatting import with_interval
from lensbench.reporter.words.goals import goal_name, limit_in_words


def goal_rows(grades: Grades) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Head and rows of a table of all goals."""
    rows: list[tuple[str, ...]] = [
        (goal_name(one.goal), one.result, limit_in_words(one.goal), with_interval(one.value), one.zone)
        for one in grades.goals
    ]
    return ("goal", "result", "wanted", "measured", "zone"), rows
