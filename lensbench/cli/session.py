"""`lensbench session`: start a folder's session file, or bring it up to date, and judge its shots."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.progress import progress_bar
from lensbench.cli.screen import (
    AsJson,
    Quiet,
    Verbose,
    print_json,
    print_lines,
    print_paths,
    print_sentences,
    print_table,
    say,
)

if TYPE_CHECKING:
    from lensbench.loaders.session_start import SheetFigures, Started
    from lensbench.watch import Evening


def session(
    directory: Annotated[Path, typer.Argument(help="The folder with the shots of one bench evening.")],
    no_look: Annotated[
        bool, typer.Option("--no-look", help="Only list the shots; don't judge whether they are good.")
    ] = False,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Start or update the session file, which says what each shot shows, and judge the shots.

    Looks at every raw file, TIFF, JPEG and PNG in the folder, guesses whether it shows the target, the even light
    or darkness, and writes session.toml beside them. Open it in any text editor, correct the guesses, and add what
    the camera couldn't know: the f-number of a manual lens, the sensor's size, the ruler bars as measured. Run it
    again after more shots: what you have written stays as it is.

    While the bench still stands, it also says which shots should be taken again (clipped, dark, blurred, leaning,
    partly covered, softer than another taken alike), and which further shots would answer what is still open.
    """
    with progress_bar("Looking at the shots", quiet, verbose) as progress:
        from lensbench.loaders.session_start import expected_s, start_session

        progress.expect(expected_s(directory))
        started = start_session(directory, progress, _sheet(directory))
    evening = None if no_look else _evening(directory, quiet, verbose)
    if json:
        print_json(_as_json(started, evening))
        return
    say(*started.unreadable)
    if quiet:
        print_paths([Path(started.path)])
    else:
        _print_started(started, evening)
    say(*started.mistakes)
    if not quiet:
        _print_next(directory, started)


def _print_started(started: Started, evening: Evening | None) -> None:
    """What was added to the session file, and how good the shots are."""
    rows = [
        (shot.file, shot.shows or "? please fill in", "?" if shot.f_number is None else f"f/{shot.f_number:g}")
        for shot in started.added
    ]
    if rows:
        print_table("Added to session.toml", ("file", "shows", "aperture"), rows, words=3)
    else:
        print(f"{started.path} lists every shot already.")
    if any(shot.f_number is None and shot.shows != "dark" for shot in started.added):
        print_sentences("? is an aperture that the camera did not record: write it in session.toml.", "")
    if evening is not None:
        _print(evening)


def _print_next(directory: Path, started: Started) -> None:
    from lensbench.formatting import as_argument

    what = "correct" if started.mistakes else "look through"
    # To be copied as they stand: neither path nor command is broken.
    print(f"Now {what} {started.path}, then run:")
    print(f"  lensbench measure {as_argument(directory)}")


def _sheet(directory: Path) -> SheetFigures | None:
    """What the sheet's file says for a new session file; one that can't be read is named when it is needed."""
    from lensbench.errors import BenchError
    from lensbench.loaders.session_start import SheetFigures
    from lensbench.target import read_layout

    try:
        layout = read_layout(directory / "target.json")
    except BenchError:
        return None
    return SheetFigures(layout.sensor_mm, layout.rulers_mm)


def _evening(directory: Path, quiet: bool, verbose: bool) -> Evening | None:
    """The shots judged; None, and why, where they can't be."""
    from lensbench.errors import BenchError

    try:
        with progress_bar("Judging the shots", quiet, verbose) as progress:
            from lensbench.watch import expected_s, judge_evening

            progress.expect(expected_s(directory))
            return judge_evening(directory, progress)
    except BenchError as error:
        say(f"The shots are not judged. {error}")
        return None


def _as_json(started: Started, evening: Evening | None) -> dict[str, object]:
    import msgspec

    judged = {"looks": evening.looks, "open": evening.open} if evening is not None else {}
    return {**msgspec.structs.asdict(started), **judged}


def _print(evening: Evening) -> None:
    from lensbench.watch import problems_in_words

    bad = [look for look in evening.looks if look.error is not None or look.problems]
    count = len(evening.looks)
    if count and not bad:
        print("The shot is good.\n" if count == 1 else f"All {count} shots are good.\n")
    elif bad:
        print_lines(
            f"To be taken again ({len(bad)} of {count})", [(look.file, problems_in_words(look)) for look in bad]
        )
        print()
    if evening.open:
        print_lines(
            "Still open",
            [(f"{n}.", f"{one.question} Shoot {one.shots}.") for n, one in enumerate(evening.open, 1)],
        )
        print()
