"""What the commands share: the --json option, progress bars, tables."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import Annotated, Any

import typer

AsJson = Annotated[
    bool, typer.Option("--json", help="Print the result as JSON for other programs, and nothing else.")
]
"""The option that every command has."""


def print_json(result: Any) -> None:
    """Print plain data, dataclasses or structs as indented JSON."""
    import msgspec

    print(msgspec.json.format(msgspec.json.encode(result), indent=1).decode())


@contextlib.contextmanager
def progress_bar(title: str) -> Iterator[Callable[[int, int, str], None]]:
    """A bar on the error stream while long work goes on; nothing where that is no terminal.

    Yields
    ------
    callable
        To be called with the steps done, the steps in all, and what was just done.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(bar_width=32), TextColumn("{task.fields[what]}"))
    with Progress(
        *columns, TimeElapsedColumn(), console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(title, total=None, what="")

        def progress(done: int, total: int, what: str = "") -> None:
            bar.update(task, completed=done, total=total, what=what)

        yield progress


def print_table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]], words: int = 1) -> None:
    """Print a table whose first `words` columns are words and the rest figures, set flush right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    for number, name in enumerate(head):
        table.add_column(name, justify="left" if number < words else "right")
    for row in rows:
        table.add_row(*row)
    # Into a file or a pipe a table keeps its full width, whatever the terminal's.
    Console(width=None if sys.stdout.isatty() else 160, highlight=False, markup=False).print(table)


def say(*lines: str) -> None:
    """Tell the user something beside the result, on the error stream."""
    for line in lines:
        print(line, file=sys.stderr)
