"""`lensbench grade`: a report held against what the build was to be."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lensbench.cli.screen import AsJson, Quiet, Verbose, print_json, print_paths, print_table, say


def grade(
    report: Annotated[
        Path | None, typer.Argument(help="A report.json, or the folder that it lies in.", show_default=False)
    ] = None,
    goals: Annotated[
        Path | None, typer.Argument(help="The goals file (--start begins one).", show_default=False)
    ] = None,
    start: Annotated[
        Path | None,
        typer.Option("--start", metavar="FILE", help="Begin a goals file with everything that can be wanted."),
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Say of each goal of the build whether it was met, missed, or is too close to call.

    Goals stand in a small file: lensbench grade --start goals.toml begins one, with every figure that can be
    wanted as a note to fill in. The same tables may stand in session.toml; then every measurement is graded.
    A goal counts as met or missed only where the whole 95 % interval lies on one side of its limit.

    Exit code 0 when every goal is met, 1 when one is missed or can't be told, 2 when nothing could be graded.
    """
    from lensbench.errors import BenchError
    from lensbench.files import write_new
    from lensbench.findings import read_report
    from lensbench.loaders.goals import START, read_goals
    from lensbench.reporter.tables.goals import goal_rows
    from lensbench.reporter.words.goals import answer_in_short, grades_in_words
    from lensbench.verdicts import goals as verdict

    if start is not None:
        write_new({start: START.encode()}, "Name another file.")
        if quiet:
            print_paths([start])
        else:
            print(f"Now fill in {start}, then run: lensbench grade REPORT {start}")
        return
    if report is None or goals is None:
        raise BenchError("Name a report and a goals file: lensbench grade REPORT GOALS (or --start FILE).")
    measured = read_report(report / "report.json" if report.is_dir() else report)
    asked = read_goals(goals)
    grades = verdict.grade(measured, asked.wanted, asked.f_number, asked.aperture)
    if verbose:
        say(f"Read {report}.", f"Read {goals}.")
    if json:
        print_json(grades)
    elif not quiet:
        print_table(f"{measured.build.name}: {answer_in_short(grades)}", *goal_rows(grades), words=5)
        say(*grades_in_words(grades))
    if not grades.setups:
        raise typer.Exit(2)
    raise typer.Exit(0 if grades.answer == verdict.MET else 1)
