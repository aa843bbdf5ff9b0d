"""`lensbench compare`: whether a build is better than the last, or that is just focus and noise."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.screen import AsJson, Quiet, Verbose, print_json, print_paths, print_sentences, print_table, say

if TYPE_CHECKING:
    from lensbench.findings.comparison import Comparison


def compare(
    reports: Annotated[
        list[Path], typer.Argument(help="Two reports or more: each a report.json, or the folder that it lies in.")
    ],
    out: Annotated[
        Path, typer.Option(help="The folder of all reports; the comparison gets its own folder there.")
    ] = Path("reports"),
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Say what changed from build to build: sharpness by zone, fringing, falloff, size, straightness.

    Builds stand in order of their dates (date under [build] in session.toml), or else as they are named here, and
    each is held against the one before. A change is real only where it is larger than refocusing and remounting
    make it: that needs setups (setup = 2, 3 …) of at least one of the two. The page, the maps of differences and
    the tables go into reports/compared-<name of the last build>/.

    Exit code 0 when done, 1 when done and the last build is worse, 2 when no two of them can be compared.
    """
    from lensbench.errors import BenchError
    from lensbench.findings import read_report
    from lensbench.reporter.write_comparison import write_comparison
    from lensbench.verdicts.comparison import compare_builds

    if len(reports) < 2:
        raise BenchError("Name two reports or more: lensbench compare EARLIER LATER")
    read = [read_report(path / "report.json" if path.is_dir() else path) for path in reports]
    _refuse_the_same(reports, [{shot.sha256 for shot in report.shots} for report in read])
    if verbose:
        say(*(f"Read {path}." for path in reports))
    comparison = compare_builds(read)
    folder, note = write_comparison(comparison, read, out)
    say(*([note] if note else []))
    if json:
        print_json(comparison)
    elif quiet:
        print_paths([folder])
    else:
        print_comparison(comparison)
        print(f"Now open {folder / 'comparison.html'}")
    if not any(change.apertures for change in comparison.changes):
        raise typer.Exit(2)
    raise typer.Exit(1 if comparison.changes[-1].answer == "worse" else 0)


def print_comparison(comparison: Comparison) -> None:
    """Print what changed from build to build, in words and as tables."""
    from lensbench.reporter.tables.comparison import headline_table
    from lensbench.reporter.words.comparison import answer_of, build_in_short, change_in_words, what_was_changed

    for change in comparison.changes:
        print(f"\n{build_in_short(change.before)} → {build_in_short(change.after)}: {answer_of(change)}")
        for line in (*change.unlike, *change_in_words(change), *what_was_changed(change.before, change.after)):
            print_sentences(line, hang="   ")
        for aperture in change.apertures:
            table = headline_table(aperture)
            print_table(table.caption, table.head, table.rows, words=table.words)


def _refuse_the_same(paths: list[Path], shots: list[set[str]]) -> None:
    """Refuse two reports of the same shots: their builds can't differ."""
    from lensbench.errors import BenchError

    for number, own in enumerate(shots):
        for other in range(number):
            if own and own == shots[other]:
                raise BenchError(
                    f"{paths[other]} and {paths[number]}: are of the same shots. Name reports of two builds."
                )
