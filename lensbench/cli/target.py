"""`lensbench target`: print files for a frame size and magnification."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import AsJson, Quiet, Verbose, print_json, print_paths, print_sentences, print_table


def target(
    folder: Annotated[Path, typer.Argument(help="Where the files go.")] = Path("target"),
    sensor: Annotated[
        str, typer.Option(help="The sensor's width and height in millimetres, such as 36x24.")
    ] = "36x24",
    magnification: Annotated[
        float | None,
        typer.Option(
            help="Size on the sensor over size on the target: 1 is life size, 0.1 a tenth. Leave it out for the"
            " largest target that the paper holds."
        ),
    ] = None,
    paper: Annotated[
        str,
        typer.Option(
            help="A5 to A0, letter, legal, tabloid, a size in millimetres such as 500x400, or film for a sheet"
            " just large enough."
        ),
    ] = "A4",
    lattice: Annotated[
        str,
        typer.Option(help="fine: about 15 x 11 tiles in the frame; coarse: 9 x 7, for a lens too soft for fine."),
    ] = "fine",
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Make the two sheets to print, as PDF and SVG at true size.

    One is the target of set squares (right-angled triangles), the other a plain sheet for the even light.

    Keep the target.json that comes with them: put it beside your shots. Print at 100 %, without fitting to the
    page, and measure both ruler bars.
    """
    with progress_bar("Drawing the sheets", quiet, verbose) as progress:
        from lensbench.target import plan_sheet, size_from_words, write_sheets

        sheet = plan_sheet(size_from_words(sensor), paper, lattice, magnification)
        written = write_sheets(folder, sheet, progress)
    if quiet:
        print_paths(written)
        return
    summary = {
        "files": [str(path) for path in written],
        "paper_mm": sheet.size_mm,
        "magnification": sheet.magnification,
        "field_mm": sheet.field_mm,
        "rulers_mm": sheet.layout.rulers_mm,
    }
    if json:
        print_json(summary)
        return
    rows = [
        ("paper", _size(sheet.size_mm)),
        ("the frame takes in", _size(sheet.field_mm)),
        ("magnification", f"{sheet.magnification:.4g}"),
        ("tiles on the sheet", f"{sheet.layout.columns} x {sheet.layout.rows}"),
        ("bars to measure", _size(sheet.layout.rulers_mm)),
        *(("written", str(path)) for path in written),
    ]
    print_table("Set-square target", ("", ""), rows)
    print_sentences(
        "Now print target.pdf and plain.pdf at 100 %, measure both bars with a steel rule, and keep target.json: "
        "copy it beside the shots."
    )


def _size(sides_mm: tuple[float, float]) -> str:
    return f"{sides_mm[0]:.4g} x {sides_mm[1]:.4g} mm"
