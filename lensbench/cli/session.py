"""`lensbench session`: start a folder's session file, or bring it up to date."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lensbench.cli.screen import AsJson, print_json, print_table, progress_bar, say


def session(
    directory: Annotated[Path, typer.Argument(help="The folder with the shots of one bench evening.")],
    json: AsJson = False,
) -> None:
    """Start or update the session file, which says what each shot shows.

    Looks at every raw file, TIFF, JPEG and PNG in the folder, guesses whether it shows the target, the even light
    or darkness, and writes session.toml beside them. Open it in any text editor, correct the guesses, and add what
    the camera couldn't know: the f-number of a manual lens, the sensor's size, the ruler bars as measured. Run it
    again after more shots: what you have written stays as it is.
    """
    from lensbench.formatting import as_argument
    from lensbench.loaders.session_start import start_session

    with progress_bar("Looking at the shots") as progress:
        started = start_session(directory, progress)
    if json:
        print_json(started)
        return
    rows = [
        (shot.file, shot.shows or "? please fill in", "?" if shot.f_number is None else f"f/{shot.f_number:g}")
        for shot in started.added
    ]
    if rows:
        print_table("Added to session.toml", ("file", "shows", "aperture"), rows, words=3)
    else:
        print(f"{started.path} lists every shot already.")
    say(*started.unreadable)
    say(*started.mistakes)
    what = "correct" if started.mistakes else "look through"
    print(f"Now {what} {started.path}, then run: lensbench measure {as_argument(directory)}")
