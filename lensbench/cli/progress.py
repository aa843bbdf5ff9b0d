"""Progress of long work: a bar that moves from the first second, with about how long it will still take."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.progress import Progress

TICK_S = 0.25
"""How often the bar moves on."""

LEAST_LEFT = 0.05
"""Work that takes longer than expected will need at least this share of its time so far once more."""


class Pace:
    """How much of some work is done, and how long the rest will take.

    At first that is what was expected; the more is done, the more it is what the work so far took.

    Parameters
    ----------
    clock : callable
        Seconds since any moment.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._begun = clock()
        self._at = self._begun
        self._costs: Mapping[str, float] = {}
        self._whole_s = 0.0
        self._done_s, self._share = 0.0, 0.0

    def expect(self, costs: Mapping[str, float] | float) -> None:
        """Expect pieces of work of these names to take so many seconds each, or the whole so many."""
        self._costs = costs if isinstance(costs, Mapping) else {}
        self._whole_s = sum(costs.values()) if isinstance(costs, Mapping) else costs

    def told(self, done: int, total: int, what: str) -> None:
        """Take in that a piece is done: by what it was expected to cost, else by count."""
        if self._costs:
            self._done_s += self._costs.get(what, 0.0)
            share = self._done_s / self._whole_s if self._whole_s else 0.0
        else:
            share = done / total if total else 0.0
        if share > self._share:
            self._share, self._at = min(share, 1.0), self._clock()

    @property
    def left_s(self) -> float | None:
        """Seconds that the rest will take; None where nothing is known of that."""
        if not self._whole_s and not self._share:
            return None
        now = self._clock() - self._begun
        by_work = (self._at - self._begun) / self._share if self._share else self._whole_s
        whole = self._share * by_work + (1 - self._share) * (self._whole_s or by_work)
        return max(whole - now, now / self._share_at_most - now, LEAST_LEFT * now)

    @property
    def _share_at_most(self) -> float:
        """The share of the work that may be done: with each processor a piece may be under way, and no more."""
        if not self._costs or not self._whole_s:
            return 1.0
        under_way = (os.cpu_count() or 1) * max(self._costs.values()) / self._whole_s
        return min(self._share + under_way, 1.0)

    @property
    def share(self) -> float | None:
        """The share of the time that has gone by, 0 to 1; None where nothing is known of that."""
        left, now = self.left_s, self._clock() - self._begun
        return None if left is None else now / max(now + left, 1e-9)


def left_in_words(seconds: float | None) -> str:
    """About how long: rounded so that nobody takes it for exact."""
    if seconds is None:
        return ""
    if seconds < 60:
        return f"about {max(5 * round(seconds / 5), 5)} s left"
    minutes = seconds / 60
    return f"about {minutes:.0f} min left" if minutes >= 9.5 else f"about {minutes:.1f} min left"


class Teller:
    """What a command tells of its work: call it with the pieces done, all of them, and what was just done."""

    def __init__(self, pace: Pace, show: Callable[[int, int, str], None]) -> None:
        self._pace, self._show = pace, show

    def expect(self, costs: Mapping[str, float] | float) -> None:
        """Expect pieces of work of these names to take so many seconds each, or the whole so many."""
        self._pace.expect(costs)

    def __call__(self, done: int, total: int, what: str = "") -> None:
        """Tell that a piece is done."""
        self._pace.told(done, total, what)
        self._show(done, total, what)


@contextlib.contextmanager
def progress_bar(title: str, quiet: bool = False, verbose: bool = False) -> Iterator[Teller]:
    """A bar on the error stream while long work goes on; nothing where that is no terminal, or when quiet.

    When verbose, each piece of work stays as a line, in a pipe too.

    Yields
    ------
    Teller
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn

    from lensbench.formatting import printable

    console = Console(stderr=True)
    columns = (
        SpinnerColumn("line"),
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=20),
        TextColumn("{task.fields[left]}", markup=False),
        TextColumn("{task.fields[what]}", markup=False),
    )
    pace = Pace()

    class Bar(Progress):
        """Moves on by the clock, not only when a piece is done."""

        def get_renderable(self) -> RenderableType:
            """What is shown now."""
            _move(self, pace)
            return super().get_renderable()

    shown = not quiet and console.is_terminal
    with Bar(*columns, console=console, transient=True, disable=not shown, refresh_per_second=1 / TICK_S) as bar:
        task = bar.add_task(title, total=None, what="", left="")

        def show(done: int, total: int, what: str) -> None:
            bar.update(task, what=printable(what))
            if verbose and what:
                console.print(f"{done}/{total} {printable(what)}", highlight=False, markup=False)

        yield Teller(pace, show)


def _move(bar: Progress, pace: Pace) -> None:
    share, left = pace.share, left_in_words(pace.left_s)
    for task in bar.tasks:
        if share is not None:
            # It never goes back, though less may be left to do than was thought.
            task.total, task.completed = 1.0, max(share, task.completed)
        task.fields["left"] = left
