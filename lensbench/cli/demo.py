"""`lensbench demo`: simulate an invented build, measure it, and show measured beside true."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lensbench.cli.screen import AsJson, print_json, print_table, progress_bar, say


def demo(
    out: Annotated[Path, typer.Option(help="The folder of all reports.")] = Path("reports"),
    keep: Annotated[
        Path | None, typer.Option(help="Keep the simulated shots in this new folder (100 MB).")
    ] = None,
    json: AsJson = False,
) -> None:
    """Simulate an invented lens, measure it like a real one, and compare with the truth.

    No camera and no print needed, and it takes about a minute: two apertures, a target shot and a flat at each. At
    the end it prints the measured figures beside the true ones, and writes a report to look at. With --keep the
    shots stay in a new folder, to try other commands on.

    Exit code 0 when everything is within its allowed error, 1 when not.
    """
    from lensbench.demo import beside_table, run_demo, statistics_table

    with progress_bar("Demo") as progress:
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
    else:
        print_table(f"{shown.report.build.name}: measured beside true", *beside_table(shown.beside), words=2)
        print("An interval holds the truth 95 times in 100, so one no in twenty is to be expected.\n")
        print_table("How well all of them agree", *statistics_table(shown.statistics), words=2)
        print(f"Now open {shown.folder / 'report.html'}")
    if not shown.passed:
        raise typer.Exit(1)
