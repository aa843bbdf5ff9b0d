"""`lensbench watch`: live figures while aligning, or one shot judged."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lensbench.cli.screen import AsJson, print_json, say

if TYPE_CHECKING:
    from rich.console import RenderableType

    from lensbench.watch import Bench, History, LivePage, Look

    Show = Callable[[list[Look]], None]


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
    page: Annotated[Path, typer.Option(help="Where the live page goes, to be opened in a browser.")] = Path(
        "watch.html"
    ),
    no_page: Annotated[bool, typer.Option("--no-page", help="Write no page.")] = False,
    idle: Annotated[
        float | None,
        typer.Option(min=0, help="End when no shot has come for so many seconds; else Ctrl-C ends it."),
    ] = None,
    encoding: Annotated[
        str | None, typer.Option(help="How a TIFF stores light, where it doesn't say so itself: linear or srgb.")
    ] = None,
    json: AsJson = False,
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
    bench = bench_of(folder, target, size_from_words(sensor) if sensor else None, focal, encoding)
    if where.is_dir():
        _follow(where, bench, None if no_page else page, idle, json)
    else:
        if idle is not None:
            raise BenchError("--idle is for a folder; one shot is looked at and done.")
        _once(where, bench, json)


def _once(path: Path, bench: Bench, json: bool) -> None:
    """One shot: its rows, and the answer as the exit code."""
    from lensbench.watch import History, look_at

    look = History().add(look_at(path, bench))
    if json:
        print_json(look)
    elif look.error is None:
        _console(sys.stdout.isatty()).print(_panel([look]))
    if look.error is not None:
        say(look.error)
    raise typer.Exit(2 if look.error is not None else 0 if look.good else 1)


def _follow(folder: Path, bench: Bench, page: Path | None, idle: float | None, json: bool) -> None:
    """A folder, until Ctrl-C or until nothing more comes."""
    from lensbench.watch import History, LivePage

    live_page = LivePage(page) if page is not None else None
    history = History()
    if live_page is not None:
        say(f"Open {live_page.path} in a browser. Ctrl-C ends.")
    try:
        with _ended_by_signals(), _screen(folder, json) as show:
            _show_all(folder, bench, history, live_page, idle, show)
    except KeyboardInterrupt:
        pass
    finally:
        if live_page is not None:
            _write(live_page, history, running=False)
    if not json and history.looks and not sys.stdout.isatty():
        _console(False).print(_panel(history.looks))
    say(f"{len(history.looks)} shot{'s' * (len(history.looks) != 1)} looked at.")


def _show_all(
    folder: Path, bench: Bench, history: History, page: LivePage | None, idle: float | None, show
) -> None:
    from lensbench.watch import follow, look_at

    for paths in follow(folder, idle):
        for path in paths:
            seen = look_at(path, bench)
            if seen.look.error is not None and not path.exists():
                continue  # It went as it came.
            history.add(seen)
            if page is not None and not _write(page, history):
                page = None
            show(history.looks)


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


# -- the terminal ---------------------------------------------------------------------------------------------

_BAR = 28
"""Cells of a whole bar."""


def _console(terminal: bool):
    from rich.console import Console

    return Console(width=None if terminal else 100, highlight=False, markup=False, emoji=False)


@contextlib.contextmanager
def _screen(folder: Path, json: bool) -> Iterator[Show]:
    """Give what shows the looks so far: a live panel, or, where that is no terminal, a line a shot."""
    if json:
        yield _print_line_of_json
        return
    if not sys.stdout.isatty():
        yield _print_line
        return
    from rich.live import Live
    from rich.text import Text

    waiting = Text(f"Waiting for shots in {folder} …")
    with Live(waiting, console=_console(True), auto_refresh=False) as live:
        yield lambda looks: live.update(_panel(looks), refresh=True)


def _print_line_of_json(looks: list[Look]) -> None:
    import msgspec

    print(msgspec.json.encode(looks[-1]).decode(), flush=True)


def _print_line(looks: list[Look]) -> None:
    from lensbench.watch import in_short

    look = looks[-1]
    said = [look.error or "", *(problem.text for problem in look.problems)]
    print(f"{look.file}: {in_short(look)} {' '.join(filter(None, said))}".strip(), flush=True)


def _panel(looks: list[Look]) -> RenderableType:
    """The latest look in full, and the earlier ones in a line each."""
    from rich.console import Group
    from rich.text import Text

    from lensbench.watch import figure_rows, in_short

    look = looks[-1]
    title = look.file + (f" · f/{look.f_number:g}" if look.f_number else "")
    answer = Text(in_short(look), style="bold green" if look.good else "bold red")
    said = [text for text in (look.error, *(problem.text for problem in look.problems), *look.notes) if text]
    parts: list[RenderableType] = [Text(title, style="bold"), answer, *(Text(f"  - {text}") for text in said)]
    if look.spots:
        parts += [Text(""), _bars(looks)]
    parts.append(_words(figure_rows(look)))
    if len(looks) > 1:
        parts += [Text(""), _earlier(looks)]
    return Group(*parts)


def _bars(looks: list[Look]) -> RenderableType:
    from rich.table import Table
    from rich.text import Text

    from lensbench.watch import fullest, spot_rows

    table = Table.grid(padding=(0, 2))
    for row in spot_rows(looks[-1], fullest(looks)):
        full = round(_BAR * row.share)
        bar = Text("█" * full, style="yellow") + Text("·" * (_BAR - full), style="dim")
        table.add_row(row.name, bar, f"{row.figure} cy/px", row.change)
    return table


def _words(rows: list[tuple[str, str]]) -> RenderableType:
    from rich.table import Table

    table = Table.grid(padding=(0, 2))
    for word, text in rows:
        table.add_row(word.ljust(12), text)
    return table


def _earlier(looks: list[Look]) -> RenderableType:
    from rich import box
    from rich.table import Table

    from lensbench.watch import HISTORY_HEAD, history_rows

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for number, name in enumerate(HISTORY_HEAD):
        table.add_column(name, justify="right" if 0 < number < len(HISTORY_HEAD) - 1 else "left")
    for row in history_rows(looks):
        table.add_row(*row)
    return table
