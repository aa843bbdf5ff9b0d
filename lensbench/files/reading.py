"""One small file, read whole: plain files only, so that no pipe or device is waited for."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from lensbench.errors import BenchError


def read_whole(path: str | Path, most_bytes: int, advice: str) -> bytes:
    """The content of a plain file.

    Parameters
    ----------
    path : path
    most_bytes : int
        A larger file isn't what it should be.
    advice : str
        What to do where it can't be read, as a sentence.

    Raises
    ------
    BenchError
        Where it can't be read, is no plain file, or is too large.
    """
    path = Path(path)
    try:
        refuse_odd_file(path)
        with path.open("rb") as file:
            content = file.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        raise BenchError(f"{path}: can't be read ({reason_of(error)}). {advice}") from None
    if len(content) > most_bytes:
        much = f"{most_bytes / 1e6:.0f} MB, far more than such a file holds"
        raise BenchError(f"{path}: has more than {much}. Look whether it is the right one.")
    return content


def refuse_odd_file(path: Path) -> None:
    """Refuse a pipe, a socket or a device, which could be waited for without end.

    Raises
    ------
    BenchError
        Saying so.
    OSError
        Where there is nothing, or nothing that may be looked at.
    """
    mode = os.stat(path).st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise BenchError(f"{path}: is no plain file but a pipe or a device. Copy what it holds into a file.")


def reason_of(error: Exception) -> str:
    """Why a file could not be read, in the system's words."""
    return str(getattr(error, "strerror", None) or error)
