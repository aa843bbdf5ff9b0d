"""What the commands share: options that all have, tables, sentences."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

if TYPE_CHECKING:
    from rich.console import Console

AsJson = Annotated[
    bool, typer.Option("--json", help="Print the result as JSON for other programs, and nothing else.")
]
"""The option that every command has."""

Quiet = Annotated[
    bool,
    typer.Option("--quiet", "-q", help="Print only where the result was written; warnings and errors as always."),
]
"""Of every command: the exit code is the answer, the output the paths written, one a line, and nothing else."""

Verbose = Annotated[bool, typer.Option("--verbose", "-v", help="Also say each piece of work as it is done.")]
"""Of every command."""

PIPE_COLUMNS = 80
"""How wide tables are where no terminal says otherwise."""


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
    import textwrap

    from rich.table import Table

    from lensbench.formatting import printable

    console = _console()
    first = max((len(printable(word)) for word, _ in lines), default=0)
    # Rich would break a line at a no-break space, too.
    wrap = textwrap.TextWrapper(max(console.width - first - 2, 20), break_long_words=False, break_on_hyphens=False)
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
    for word, said in lines:
        table.add_row(printable(word), wrap.fill(printable(said)))
    console.print(table)


def _console(least: int = 0) -> Console:
    """The terminal, or what a pipe gets: `PIPE_COLUMNS`, or as many as are needed."""
    from rich.console import Console

    width = None if sys.stdout.isatty() else max(PIPE_COLUMNS, least)
    return Console(width=width, highlight=False, markup=False, emoji=False)


def print_sentences(*lines: str, hang: str = "") -> None:
    """Print sentences below each other, lines broken between words; `hang` stands before each, and indents it."""
    for line in lines:
        print(_broken(line, hang, _width(sys.stdout) or PIPE_COLUMNS))


def print_paths(paths: Iterable[Path]) -> None:
    """Print where something was written, as other programs can read it: a path a line, never broken."""
    for path in paths:
        print(path)


def say(*lines: str) -> None:
    """Tell the user something beside the result, on the error stream; in a pipe a message stays in one line."""
    for line in lines:
        print(_broken(line, "", _width(sys.stderr)), file=sys.stderr)


def _broken(text: str, hang: str, width: int | None) -> str:
    """A text as it can be printed, each of its lines broken between words; a path that is too long stays whole."""
    from lensbench.formatting import printable

    if width is None:
        return hang + printable(text)
    lines = textwrap.TextWrapper(
        width,
        initial_indent=hang,
        subsequent_indent=" " * len(hang),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(lines.fill(line) for line in printable(text).split("\n"))


def _width(stream: TextIO) -> int | None:
    """Columns of a terminal; None for a pipe or a file."""
    return shutil.get_terminal_size((PIPE_COLUMNS, 24)).columns if stream.isatty() else None
