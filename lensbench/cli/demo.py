"""`lensbench demo`: simulate an invented build, measure it, and answer; measured beside true where asked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import AsJson, Quiet, Verbose, print_json, print_lines, print_paths, print_table, say

if TYPE_CHECKING:
    from lensbench.demo import Demonstration, FullDemonstration
    from lensbench.findings import Report


def demo(
    out: Annotated[Path, typer.Option(help="The folder of all reports.")] = Path("reports"),
    keep: Annotated[
        Path | None, typer.Option(help="Keep the simulated shots in this new folder (100 MB).")
    ] = None,
    truth: Annotated[bool, typer.Option("--truth", help="Also print the figures beside the true ones.")] = False,
    full: Annotated[
        bool,
        typer.Option("--full", help="Two evenings: apertures, rail, turn test, repeats, two builds compared."),
    ] = False,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Simulate an invented lens, measure it like a real one, and compare with the truth.

    No camera and no print needed, and it takes about a minute on two cores: two apertures, a target shot and a
    flat at each. At the end it prints the answers, and writes a report to look at. Since the truth is known here,
    every figure is also held against it; --truth prints all of them. With --keep the shots stay in a new folder,
    to try other commands on.

    With --full it is two evenings with a smaller camera: a leaning build with five apertures, two series along the
    rail, the lens turned half round, three setups and goals, and the same build mended. Both are graded and
    compared, and what was planted in them is listed. That takes two or three minutes.

    Exit code 0 when every figure is within its allowed error, 1 when not; with --full always 0.
    """
    if full:
        _full(out, keep, json, quiet, verbose)
        return
    with progress_bar("Demo", quiet, verbose) as progress:
        from lensbench.demo import expected_s, run_demo

        progress.expect(expected_s())
        shown = run_demo(out, keep, progress)
    say(*(warning.text for warning in shown.report.warnings), *([shown.note] if shown.note else []))
    if json:
        print_json(
            {
                "folder": str(shown.folder),
                "beside": shown.beside,
                "statistics": shown.statistics,
                "passed": shown.passed,
            }
        )
    elif quiet:
        print_paths([shown.folder, *([keep] if keep else [])])
    else:
        _print(shown, truth, keep)
    if not shown.passed:
        raise typer.Exit(1)


def _print(shown: Demonstration, truth: bool, keep: Path | None) -> None:
    from lensbench.demo import beside_table, statistics_table

    if truth:
        print_table(f"{shown.report.build.name}: measured beside true", *beside_table(shown.beside), words=2)
        print("An interval holds the truth 95 times in 100: one no in twenty is expected.\n")
        print_table("How well all of them agree", *statistics_table(shown.statistics), words=2)
    _print_report(shown.report)
    count = len(shown.statistics)
    if shown.passed:
        said = f"All {count} comparisons with the truth are within their allowed error"
    else:
        said = f"{len(shown.missed)} of {count} comparisons with the truth are beyond their allowed error"
    print(f"\n{said}{'' if truth else ': see --truth'}.")
    _print_kept([keep] if keep else [])
    print(f"Now open {shown.folder / 'report.html'}")


def _print_kept(folders: list[Path]) -> None:
    """Where the simulated shots are, and what may be tried on them."""
    from lensbench.formatting import as_argument

    for folder in folders:
        print(f"The shots are in {as_argument(folder)}: try lensbench session, check, edges and watch on them.")


def _print_report(report: Report) -> None:
    from lensbench.reporter.tables.summary import summary_table
    from lensbench.reporter.words.answer_lines import answer_lines

    print_table(report.build.name, *summary_table(report))
    print_lines("Answers", answer_lines(report))


def _full(out: Path, keep: Path | None, json: bool, quiet: bool, verbose: bool) -> None:
    with progress_bar("Demo", quiet, verbose) as progress:
        from lensbench.demo import FULL_DEMO_S, run_full_demo

        progress.expect(FULL_DEMO_S)
        shown = run_full_demo(out, keep, progress)
    folders = [*(build.folder for build in shown.builds), shown.compared]
    if json:
        reports = [str(folder) for folder in folders[:-1]]
        print_json({"folders": reports, "compared": str(shown.compared), "comparison": shown.comparison})
    elif quiet:
        print_paths([*folders, *([keep] if keep else [])])
    else:
        _print_full(shown, keep)


def _print_full(shown: FullDemonstration, keep: Path | None) -> None:
    from lensbench.cli.compare import print_comparison
    from lensbench.demo import EVENINGS, PLANTED

    for build in shown.builds:
        say(*([build.note] if build.note else []))
        _print_report(build.report)
        print()
    print_comparison(shown.comparison)
    print_lines("What was planted", [("", line) for line in PLANTED])
    _print_kept([keep / name for name in EVENINGS] if keep else [])
    pages = [*(build.folder / "report.html" for build in shown.builds), shown.compared / "comparison.html"]
    print("\nNow open", *pages, sep="\n  ")
