"""The goals of a build on the page: the table that stands under the answer."""

from __future__ import annotations

from lensbench.findings import Report
from lensbench.reporter.tables.goals import goal_rows
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.goals import grades_of


def goals_table(report: Report) -> Table | None:
    """Every goal with what was wanted, what was measured, and the result; None where there are none."""
    grades = grades_of(report)
    if grades is None:
        return None
    head, rows = goal_rows(grades)
    return Table("The goals of this build", list(head), [list(row) for row in rows], words=2)
