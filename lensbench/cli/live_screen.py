"""The live bench in a terminal: a panel of the latest shot that is drawn anew, or a line a shot in a pipe."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from lensbench.cli.screen import PIPE_COLUMNS

if TYPE_CHECKING:
    from rich.console import RenderableType

    from lensbench.watch import Look

    Show = Callable[[list[Look]], None]

_BAR = 24
"""Cells of a whole bar."""


def _console(terminal: bool):
    from rich.console import Console

    return Console(width=None if terminal else PIPE_COLUMNS, highlight=False, markup=False, emoji=False)


def print_panel(looks: list[Look]) -> None:
    """Print the latest look in full, and the earlier ones in a line each."""
    _console(sys.stdout.isatty()).print(_panel(looks))


@contextlib.contextmanager
def live_screen(folder: Path, json: bool, quiet: bool) -> Iterator[Show]:
    """Give what shows the looks so far: a live panel, or, where that is no terminal, a line a shot."""
    if json or quiet:
        yield _print_line_of_json if json else _print_nothing
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


def _print_nothing(looks: list[Look]) -> None:
    pass


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
        table.add_row(row.name, bar, f"{row.figure} cy/px", row.lp_mm, row.change)
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
