"""The goals of a build at the top of the page, where the report grades them."""

from __future__ import annotations

from dataclasses import dataclass

from lensbench.findings import Report
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.goals import grades_of
from lensbench.reporter.words.goals import answer_in_short, goal_rows, grades_in_words


@dataclass(frozen=True)
class GoalsInBrief:
    """Whether the goals are met, in a few words; each goal in a table; what is left to say."""

    short: str
    table: Table
    words: list[str]


def goals_in_brief(report: Report) -> GoalsInBrief | None:
    """The goals; None where there are none."""
    grades = grades_of(report)
    if grades is None:
        return None
    head, rows = goal_rows(grades)
    table = Table("The goals of this build", list(head), [list(row) for row in rows], words=2)
    return GoalsInBrief(answer_in_short(grades), table, grades_in_words(grades))
