"""`lensbench correct`: copies of the user's own pictures without the lens's flaws."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import AsJson, Quiet, Verbose, print_json, print_paths, print_sentences, print_table, say

if TYPE_CHECKING:
    from lensbench.correction import Corrected, Taken


def correct(
    report: Annotated[Path, typer.Argument(help="A report.json, or the folder that it lies in.")],
    pictures: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Raw pictures taken with the lens, or a folder with a pictures.toml.", show_default=False
        ),
    ] = None,
    aperture: Annotated[
        str | None,
        typer.Option(help="The pictures' aperture: 5.6, or its name in the report, such as 'third click'."),
    ] = None,
    magnification: Annotated[
        float | None, typer.Option(min=0, help="The pictures' magnification: 1 is life size, 0 far away.")
    ] = None,
    copies: Annotated[
        list[str] | None,
        typer.Option(
            "--as", help="dng (corrections as opcodes), linear or display (16-bit TIFF). More than one: repeat it."
        ),
    ] = None,
    distortion: Annotated[bool, typer.Option("--distortion", help="Straighten lines too.")] = False,
    skip: Annotated[
        list[str] | None, typer.Option(help="Leave falloff, fringing or dirt as it is. More than one: repeat it.")
    ] = None,
    dark: Annotated[
        list[Path] | None, typer.Option(help="A dark frame, cap on: its hot pixels are mended in the pictures.")
    ] = None,
    out: Annotated[Path, typer.Option(help="The folder of the copies.")] = Path("corrected"),
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace earlier copies, unless they were changed since.")
    ] = False,
    keep_gps: Annotated[
        bool, typer.Option("--keep-gps", help="Let the copies say where on earth the picture was taken.")
    ] = False,
    prove: Annotated[
        bool, typer.Option("--prove", help="The pictures are bench shots: measure them before and after.")
    ] = False,
    values: Annotated[
        bool, typer.Option("--values", help="Only print the numbers that another program can be told by hand.")
    ] = False,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Take falloff, colour fringes and dirt shadows out of pictures, by a lens's report.

    Writes a corrected copy of each picture into a folder of its own; the pictures are only read. A DNG holds the
    untouched mosaic and says how to correct it, which most raw developers follow, in part or whole; a TIFF has
    everything done. Home-built lenses record neither aperture nor magnification: give them here, or list the
    pictures in a pictures.toml beside them. Blur and glow stay: they can't be taken out.

    Exit code 0 when all are done, 1 when some could not be, 2 when none could.
    """
    from lensbench.correction import Taken, Wanted, aperture_from_words, correct_pictures, expected_s
    from lensbench.errors import BenchError
    from lensbench.files import check_writable

    named = aperture_from_words(aperture) if aperture else Taken()
    taken = Taken(named.f_number, named.aperture, magnification)
    kinds = _kinds(skip or [], distortion)
    if values:
        _print_values(report, taken, kinds, json)
        return
    if not pictures:
        raise BenchError("Name the pictures to correct, or give --values to see the numbers.")
    check_writable(out, "Name another folder with --out.")
    wanted = Wanted(
        out=out,
        copies=_copies(copies),
        kinds=kinds,
        taken=taken,
        darks=tuple(dark or ()),
        keep_gps=keep_gps,
        replace=replace,
        prove=prove,
    )
    with progress_bar("Correcting", quiet, verbose) as progress:
        progress.expect(expected_s(pictures, prove))
        results = correct_pictures(report, pictures, wanted, progress)
    if json:
        print_json(results)
    elif quiet:
        print_paths(path for result in results for path in result.written)
    else:
        _print(results)
    if not json:
        say(*dict.fromkeys(line for result in results for line in result.caveats))
        say(*(result.error for result in results if result.error is not None))
    failed = sum(result.error is not None for result in results)
    raise typer.Exit(0 if not failed else 2 if failed == len(results) else 1)


def _kinds(skip: list[str], distortion: bool) -> tuple[str, ...]:
    from lensbench.correction import KINDS, USUAL
    from lensbench.errors import BenchError

    for kind in skip:
        if kind not in USUAL:
            raise BenchError(f"--skip {kind}: is none of {', '.join(USUAL)}.")
    wanted = set(USUAL) - set(skip) | ({"distortion"} if distortion else set())
    if not wanted:
        raise BenchError("--skip leaves nothing to correct. Skip less, or give --distortion.")
    return tuple(kind for kind in KINDS if kind in wanted)


def _copies(asked: list[str] | None) -> tuple[str, ...]:
    from lensbench.correction import COPIES
    from lensbench.errors import BenchError

    for kind in asked or []:
        if kind not in COPIES:
            raise BenchError(f"--as {kind}: is none of {', '.join(COPIES)}.")
    return tuple(kind for kind in COPIES if kind in (asked or ["dng"]))


def _print_values(report: Path, taken: Taken, kinds: tuple[str, ...], json: bool) -> None:
    from lensbench.correction import correction_values
    from lensbench.findings import read_report
    from lensbench.reporter.tables.correction import value_rows

    numbers = correction_values(read_report(report / "report.json" if report.is_dir() else report), taken, kinds)
    if json:
        print_json(numbers)
    else:
        print_table("Correction in numbers", ("what", "value"), value_rows(numbers))


def _print(results: list[Corrected]) -> None:
    from lensbench.reporter.tables.correction import proof_rows

    for result in results:
        if result.error is None:
            print(f"{result.picture.name}: {', '.join(str(path) for path in result.written)}")
    done = list(dict.fromkeys(line for result in results for line in result.done))
    if done:
        print("Taken out:")
    for line in done:
        print_sentences(line, hang="   - ")
    rows = [row for result in results if result.proof for row in proof_rows(result.picture.name, result.proof)]
    if rows:
        print_table("Measured again", ("picture", "what", "before", "after"), rows, words=2)
