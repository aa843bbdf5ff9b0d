"""`lensbench measure`: the whole bench, from a folder of shots to a report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import AsJson, Quiet, Verbose, print_lines, print_paths, print_table, say

if TYPE_CHECKING:
    from lensbench.findings import Report


def measure(
    directory: Annotated[Path, typer.Argument(help="The folder with the shots and their session.toml.")],
    out: Annotated[
        Path, typer.Option(help="The folder of all reports; this one gets its own folder there.")
    ] = Path("reports"),
    replace: Annotated[
        bool, typer.Option("--replace", help="Also replace a report of other shots, unless it was changed since.")
    ] = False,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Measure sharpness, colour fringing, falloff and dirt from a folder of shots, and answer.

    The folder needs a session.toml, which says what each shot shows: lensbench session FOLDER writes it. The shots
    are only read. The report goes into reports/<name of the build>/: open report.html there in any browser, or
    look at zone_map.png. A shot that can't be used is named and left out. An earlier report of the same shots is
    replaced; one of other shots, or with anything changed in it, is kept, and this one goes beside it.

    With a [goals] table in session.toml (lensbench grade --start FILE begins one with all that can be wanted) the
    answers begin with whether they were met.

    Exit code 0 when done, 1 when done and a goal is missed or can't be told, 2 when nothing could be measured.
    """
    from lensbench.loaders.decoder import decoder

    # It gets ready while the rest is loaded.
    decoder.start()
    with progress_bar("Measuring", quiet, verbose) as progress:
        from lensbench.findings import REPORT_FILE
        from lensbench.loaders import load_session
        from lensbench.reporter.write import check_report_place, write_report
        from lensbench.run import expected_s, measure_with_views

        session = load_session(directory)
        check_report_place(out, session.build.name)
        progress.expect(expected_s(session))
        report, views = measure_with_views(session, progress)
        folder, note = write_report(report, out, replace, views)
    say(*(warning.text for warning in report.warnings), *([note] if note else []))
    if json:
        print((folder / REPORT_FILE).read_text(encoding="utf-8"))
    elif quiet:
        print_paths([folder])
    else:
        _print(report)
        print(f"\nNow open {folder / 'report.html'}")
    from lensbench.verdicts.goals import MET

    goals = report.verdict.goals if report.verdict else None
    if goals and goals.answer != MET:
        raise typer.Exit(1)


def _print(report: Report) -> None:
    from lensbench.reporter.tables.summary import summary_table
    from lensbench.reporter.words.answer_lines import answer_lines

    print_table(report.build.name, *summary_table(report))
    print_lines("Answers", answer_lines(report))
