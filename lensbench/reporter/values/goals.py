"""The goals that a report grades, if it does."""

from __future__ import annotations

from lensbench.findings import Report
from lensbench.findings.goals import Grades


def grades_of(report: Report) -> Grades | None:
    """The graded goals of a report, where its session gave any."""
    grades = getattr(report.verdict, "goals", None)
    return grades if isinstance(grades, Grades) and grades.goals else None
