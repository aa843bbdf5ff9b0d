"""About how long work on files will take, guessed by their sizes before any of it is done."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path


def expected_of_files(files: Iterable[Path], s_per_mb: float) -> dict[str, float]:
    """Seconds that each of some files will take, by its name; a guess for a usual computer.

    Parameters
    ----------
    files : iterable of Path
        Those that can't be found take no time: they are refused at once.
    s_per_mb : float
        What a megabyte takes.
    """
    return {path.name: s_per_mb * _size(path) / 1e6 for path in files}


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
