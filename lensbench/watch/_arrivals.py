"""New shots in a folder, each once it is whole: nothing is read while somebody still writes it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from watchfiles import watch

from lensbench.loaders.session import check_folder
from lensbench.loaders.session_start import PICTURE_ENDINGS
from lensbench.loaders.shot_file import RAW_ENDINGS

SETTLED_S = 0.25
"""A raw file whose size and time haven't changed for so long is whole."""

DEVELOPED_SETTLED_S = 2.0
"""The same for a JPEG and its kin, which often land a moment before the raw file that they belong to."""

STALLED_S = 5.0
"""A file that stays empty for so long has stalled: it is waited for no more closely than for others."""

TICK_S = 0.1
"""How often files that are not yet whole are looked at again."""

IDLE_TICK_S = 0.5
"""How often the folder is looked at where no event comes: shared and network folders send none."""

Signature = tuple[int, int]


@dataclass(eq=False)
class Arrivals:
    """The files of a folder: known ones, and those that have landed but may not be whole."""

    folder: Path
    known: dict[Path, Signature] = field(default_factory=dict)
    pending: dict[Path, tuple[Signature, float]] = field(default_factory=dict)

    def take_all_for_known(self) -> list[Path]:
        """Count what is there already as seen; give it back in the order of its times."""
        self.known = self._signatures()
        return sorted(self.known, key=lambda path: self.known[path][1])

    def whole(self, now: float) -> list[Path]:
        """The new files that have become whole by a time (of `time.monotonic`), the oldest first."""
        there = self._signatures()
        # What vanished may come again, as another file.
        self.known = {path: signature for path, signature in self.known.items() if path in there}
        self.pending = {path: seen for path, seen in self.pending.items() if path in there}
        ready = []
        for path, signature in there.items():
            if self.known.get(path) == signature:
                continue
            before = self.pending.get(path)
            if before is None or before[0] != signature:
                self.pending[path] = (signature, now)
            elif signature[0] > 0 and now - before[1] >= _settling(path):
                ready.append(path)
        for path in ready:
            self.known[path] = self.pending.pop(path)[0]
        return sorted(ready, key=lambda path: (self.known[path][1], path.name))

    def busy(self, now: float) -> bool:
        """Whether a file is still being written, or was a moment ago."""
        return any(now - since < STALLED_S for _, since in self.pending.values())

    def _signatures(self) -> dict[Path, Signature]:
        """Size and time of every file that looks like a shot; none where the folder is away, as a card pulled."""
        found: dict[Path, Signature] = {}
        try:
            paths = [path for path in self.folder.iterdir() if path.suffix.lower() in PICTURE_ENDINGS]
        except OSError:
            return found
        raw = {path.stem for path in paths if path.suffix.lower() in RAW_ENDINGS}
        for path in paths:
            if path.name.startswith(".") or (path.stem in raw and path.suffix.lower() not in RAW_ENDINGS):
                continue
            try:
                if path.is_file():
                    state = path.stat()
                    found[path] = (state.st_size, state.st_mtime_ns)
            except OSError:
                continue
        return found


def _settling(path: Path) -> float:
    return SETTLED_S if path.suffix.lower() in RAW_ENDINGS else DEVELOPED_SETTLED_S


def follow(folder: Path, idle_s: float | None = None, latest: bool = True) -> Iterator[list[Path]]:
    """Give the new shots of a folder as they become whole; an empty list at least every half second.

    Parameters
    ----------
    folder : Path
        It is only read, and may go away and come back.
    idle_s : float, optional
        End when no shot has come for so long; otherwise only Ctrl-C ends it.
    latest : bool
        Begin with the newest shot that is there already.

    Yields
    ------
    list of Path
        The oldest first.

    Raises
    ------
    BenchError
        Where there is no such folder.
    """
    if not folder.is_dir():
        check_folder(folder)
    arrivals = Arrivals(folder)
    there = arrivals.take_all_for_known()
    last = time.monotonic()
    if latest and there:
        yield there[-1:]
        last = time.monotonic()
    for _ in _wake_ups(arrivals):
        whole = arrivals.whole(time.monotonic())
        yield whole
        if whole:
            last = time.monotonic()
        elif idle_s is not None and not arrivals.busy(time.monotonic()) and time.monotonic() - last >= idle_s:
            return


def _wake_ups(arrivals: Arrivals) -> Iterator[None]:
    """Wake when the folder changes, often while something is being written, and now and then in any case."""
    while True:
        try:
            events = watch(
                arrivals.folder,
                recursive=False,
                step=20,
                debounce=50,
                rust_timeout=int(1000 * IDLE_TICK_S),
                yield_on_timeout=True,
                ignore_permission_denied=True,
            )
            for _ in events:
                yield
                while arrivals.busy(time.monotonic()):
                    time.sleep(TICK_S)
                    yield
        except (OSError, RuntimeError):
            # The folder is away; so are its events.
            time.sleep(IDLE_TICK_S)
            yield
