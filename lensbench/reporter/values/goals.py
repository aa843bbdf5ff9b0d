"""The goals that a report grades, if it does."""

from __future__ import annotations

from lensbench.findings import Report
from lensbench.findings.goals import Grades


def grades_of(report: Report) -> Grades | None:
    """The graded goals of a report, where its session gave any."""
    grades = report.verdict.goals if report.verdict else None
    return grades if grades and grades.goals else None
