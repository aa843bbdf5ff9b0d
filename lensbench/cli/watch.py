"""`lensbench watch`: live figures while aligning, or one shot judged."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from lensbench.cli.screen import AsJson, Quiet, Verbose, print_json, print_paths, say

if TYPE_CHECKING:
    from lensbench.cli.live_screen import Show
    from lensbench.watch import Bench, History, LivePage, Look

PAGE = Path("watch.html")
"""Where the live page goes unless told otherwise."""


def watch(
    where: Annotated[
        Path, typer.Argument(metavar="FOLDER|SHOT", help="A folder that shots land in, or one shot's file.")
    ],
    target: Annotated[
        Path | None, typer.Option(help="The sheet's target.json, where it isn't beside the shots.")
    ] = None,
    sensor: Annotated[
        str | None,
        typer.Option(help="The sensor's width and height in millimetres, such as 36x24, for degrees."),
    ] = None,
    focal: Annotated[
        float | None,
        typer.Option(min=0.5, max=5000, help="The lens's focal length in millimetres, for degrees."),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(help=f"Where the live page goes, to be opened in a browser: {PAGE} unless named."),
    ] = None,
    no_page: Annotated[bool, typer.Option("--no-page", help="Write no page.")] = False,
    idle: Annotated[
        float | None,
        typer.Option(min=0, help="End when no shot has come for so many seconds; else Ctrl-C ends it."),
    ] = None,
    encoding: Annotated[
        str | None, typer.Option(help="How a TIFF stores light, where it doesn't say so itself: linear or srgb.")
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> None:
    """Live figures of each new shot as it lands in a folder, or a look at one shot.

    Name the folder into which the camera's tethering program puts its shots, or a card's, with the sheet's
    target.json in it. About a second after a shot has landed you see how sharp the centre and the four corners
    are, how even, whether that is sharper or softer than the last shot and the best so far, which side of the
    sheet is farther away, how far the exposure is from the wanted level, and how much of the frame it covers: in
    the terminal, and on a page in large letters that loads itself anew. It begins with the newest shot that is
    there, and Ctrl-C ends it. With a shot's own file: is this one good to go on with? Shots are only read.

    With --json one line a shot. Exit code 0 when the shot is good to go on with (in a folder: when it ended), 1
    when not, 2 when it can't be read.
    """
    from lensbench.errors import BenchError
    from lensbench.target import size_from_words
    from lensbench.watch import bench_of

    folder = where if where.is_dir() else where.parent
    if not where.exists() and not where.suffix:
        raise BenchError(f"{where}: there is no such folder.")
    for option, value in (("--idle", idle), ("--page", page)):
        if value is not None and not where.is_dir():
            raise BenchError(f"{option} is for a folder; one shot is looked at and done. Leave it out.")
    bench = bench_of(folder, target, size_from_words(sensor) if sensor else None, focal, encoding)
    if where.is_dir():
        _follow(_Following(where, bench, None if no_page else page or PAGE, idle, json, quiet, verbose))
    else:
        _once(where, bench, json, quiet, verbose)


def _once(path: Path, bench: Bench, json: bool, quiet: bool, verbose: bool) -> None:
    """One shot: its rows, and the answer as the exit code."""
    from lensbench.cli.live_screen import print_panel
    from lensbench.watch import History, look_at

    look = History().add(look_at(path, bench))
    if verbose:
        _say_how_long(look)
    if json:
        print_json(look)
    elif look.error is None and not quiet:
        print_panel([look])
    if look.error is not None:
        say(look.error)
    raise typer.Exit(2 if look.error is not None else 0 if look.good else 1)


class _Following(NamedTuple):
    """What is followed, and what of it is said."""

    folder: Path
    bench: Bench
    page: Path | None
    idle: float | None
    json: bool
    quiet: bool
    verbose: bool


def _follow(asked: _Following) -> None:
    """A folder, until Ctrl-C or until nothing more comes."""
    from lensbench.cli.live_screen import live_screen, print_panel
    from lensbench.watch import History, LivePage

    live_page = LivePage(asked.page) if asked.page is not None else None
    history = History()
    if live_page is not None and asked.quiet:
        print_paths([live_page.path])
    elif live_page is not None:
        say(f"Open {live_page.path} in a browser. Ctrl-C ends.")
    try:
        with _ended_by_signals(), live_screen(asked.folder, asked.json, asked.quiet) as show:
            _show_all(asked, history, live_page, show)
    except KeyboardInterrupt:
        pass
    finally:
        if live_page is not None:
            _write(live_page, history, running=False)
    if asked.quiet:
        return
    if not asked.json and history.looks and not sys.stdout.isatty():
        print_panel(history.looks)
    say(f"{len(history.looks)} shot{'s' * (len(history.looks) != 1)} looked at.")


def _show_all(asked: _Following, history: History, page: LivePage | None, show: Show) -> None:
    from lensbench.watch import follow, get_ready, look_at

    get_ready()
    for paths in follow(asked.folder, asked.idle):
        for path in paths:
            seen = look_at(path, asked.bench)
            if seen.look.error is not None and not path.exists():
                continue  # It went as it came.
            history.add(seen)
            if page is not None and not _write(page, history):
                page = None
            if asked.verbose:
                _say_how_long(seen.look)
            show(history.looks)


def _say_how_long(look: Look) -> None:
    say(f"Looked at {look.file} in {look.seconds:.1f} s.")


def _write(page: LivePage, history: History, running: bool = True) -> bool:
    """Write the page; one that can't be written any more is said once, and doesn't end the bench."""
    from lensbench.errors import BenchError

    try:
        page.write(history.looks, running)
    except (BenchError, OSError) as error:
        say(str(error))
        return False
    return True


@contextlib.contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Being told to end is as good as Ctrl-C: the terminal is left as it was."""

    def end(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
