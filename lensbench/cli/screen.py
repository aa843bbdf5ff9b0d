"""What the commands share: the --json option, progress bars, tables."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

AsJson = Annotated[
    bool, typer.Option("--json", help="Print the result as JSON for other programs, and nothing else.")
]
"""The option that every command has."""

Quiet = Annotated[
    bool, typer.Option("--quiet", "-q", help="Print nothing but what keeps it from working; see the exit code.")
]
Verbose = Annotated[bool, typer.Option("--verbose", "-v", help="Also say each piece of work as it is done.")]

PIPE_COLUMNS = 80
"""How wide tables are where no terminal says otherwise."""


def refuse_contradictions(**options: bool) -> None:
    """Refuse more than one of some options that say how much is printed.

    Raises
    ------
    BenchError
        Naming them.
    """
    from lensbench.errors import BenchError

    given = [f"--{name}" for name, is_set in options.items() if is_set]
    if len(given) > 1:
        raise BenchError(f"{' and '.join(given)} contradict each other: keep one of them.")


NEW_NAME = "Give the picture another name."


def check_picture(path: Path) -> None:
    """Refuse, before any work, a picture that could not be written: it may be a shot.

    Raises
    ------
    BenchError
    """
    from lensbench.errors import BenchError
    from lensbench.files import check_new

    if path.suffix.lower() != ".png":
        raise BenchError(f"{path}: the picture is written as PNG. Give it a name that ends in .png.")
    check_new(path, b"\x89PNG", NEW_NAME)


def print_json(result: Any) -> None:
    """Print plain data, dataclasses or structs as indented JSON."""
    import msgspec

    print(msgspec.json.format(msgspec.json.encode(result), indent=1).decode())


@contextlib.contextmanager
def progress_bar(
    title: str, quiet: bool = False, verbose: bool = False
) -> Iterator[Callable[[int, int, str], None]]:
    """A bar on the error stream while long work goes on; nothing where that is no terminal, or when quiet.

    When verbose, each piece of work stays as a line, in a pipe too.

    Yields
    ------
    callable
        To be called with the steps done, the steps in all, and what was just done.
    """
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        Progress,
        SpinnerColumn,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    # It moves from the first moment; how long it will still take is known once the first piece is done.
    columns = (
        SpinnerColumn("line"),
        TextColumn("{task.description}"),
        BarColumn(bar_width=20),
        TimeElapsedColumn(),
        TextColumn("left:"),
        TimeRemainingColumn(compact=True),
        TextColumn("{task.fields[what]}"),
    )
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task(title, total=None, what="")

        def progress(done: int, total: int, what: str = "") -> None:
            bar.update(task, completed=done, total=total, what=what)
            if verbose and what:
                console.print(f"{done}/{total} {what}", highlight=False, markup=False)

        yield progress


def print_table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]], words: int = 1) -> None:
    """Print a table whose first `words` columns are words and the rest figures, set flush right.

    Where it is too wide, headings are broken into lines; into a file or a pipe figures never are.
    """
    from rich import box
    from rich.table import Table

    from lensbench.formatting import printable

    columns = [[name, *(row[number] for row in rows)] for number, name in enumerate(head)]
    whole = [max(map(len, cells)) for cells in columns]
    # Words may be broken anywhere between them, figures only in their heading.
    broken = [
        max(map(len, " ".join(cells if number < words else cells[:1]).split() + cells[1:] * (number >= words)))
        for number, cells in enumerate(columns)
    ]
    between = 2 * len(columns)
    console = _console(sum(broken) + between)
    tight = sum(broken) + between <= console.width < sum(whole) + between
    table = Table(
        title=printable(title), title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False
    )
    table.padding = (0, 1, 0, 0)
    for number, name in enumerate(head):
        if number < words:
            table.add_column(name)
        else:
            table.add_column(name, justify="right", width=broken[number] if tight else None)
    for row in rows:
        table.add_row(*map(printable, row))
    console.print(table)


def print_lines(title: str, lines: Sequence[tuple[str, str]]) -> None:
    """Print a title, and below it lines that begin with a word or two of their own, set in a column."""
    from rich.table import Table

    from lensbench.formatting import printable

    table = Table(
        title=printable(title),
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        show_header=False,
    )
    table.add_column(no_wrap=True)
    table.add_column()
    for line in lines:
        table.add_row(*map(printable, line))
    _console().print(table)


def _console(least: int = 0) -> Console:
    """The terminal, or what a pipe gets: `PIPE_COLUMNS`, or as many as are needed."""
    from rich.console import Console

    width = None if sys.stdout.isatty() else max(PIPE_COLUMNS, least)
    return Console(width=width, highlight=False, markup=False)


def say(*lines: str) -> None:
    """Tell the user something beside the result, on the error stream."""
    from lensbench.formatting import printable

    for line in lines:
        print(printable(line), file=sys.stderr)
