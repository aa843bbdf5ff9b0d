"""One file, written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from lensbench.errors import BenchError

MOMENTS_S = (0.05, 0.1, 0.2, 0.4) if os.name == "nt" else ()
"""How long to wait between attempts to replace a file: Windows refuses that while somebody reads it, as a browser
or a virus scanner does for a moment."""


@contextlib.contextmanager
def written_whole(path: str | Path) -> Iterator[Path]:
    """Give a temporary path to write to, and put it in place of `path` only if all went well.

    Parameters
    ----------
    path : path
        The file to make or replace; its folder is made where missing.

    Yields
    ------
    Path
        A path in the same folder and with the same ending, to be written by the caller.

    Raises
    ------
    BenchError
        Where the folder can't be made or written to.
    """
    path = Path(path)
    made_folder(path.parent)
    try:
        handle, name = tempfile.mkstemp(prefix=".writing-", suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise _cannot_write(path.parent, error) from None
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        temporary.chmod(_mode_for(path))
        move_file(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def move_file(source: Path, target: Path) -> None:
    """Put a file in the place of another, also if that is in use for a moment."""
    for wait_s in MOMENTS_S:
        with contextlib.suppress(PermissionError):
            os.replace(source, target)
            return
        time.sleep(wait_s)
    os.replace(source, target)


def _mode_for(path: Path) -> int:
    """What may be done with a file: as with the one replaced, or as the user's own new files.

    `tempfile` makes files that only their owner may read.
    """
    if path.exists():
        return stat.S_IMODE(path.stat().st_mode)
    umask = os.umask(0)
    os.umask(umask)
    return 0o666 & ~umask


def made_folder(folder: Path) -> None:
    """Make a folder where it is missing.

    Raises
    ------
    BenchError
        Where that can't be done, as where a file has its name.
    """
    if folder.is_file():
        raise BenchError(f"{folder}: is a file, and can't hold others. Name another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _cannot_write(folder, error) from None


def check_writable(folder: Path, advice: str) -> None:
    """Refuse, before any work, a folder that can't be written to, or can't be made.

    Parameters
    ----------
    folder : Path
        There or not yet.
    advice : str
        What the user can do, as a sentence.

    Raises
    ------
    BenchError
    """
    existing = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    try:
        with tempfile.TemporaryFile(dir=existing):
            pass
    except OSError as error:
        raise BenchError(f"{existing}: can't be written to ({error.strerror}). {advice}") from None


def _cannot_write(folder: Path, error: OSError) -> BenchError:
    return BenchError(f"{folder}: can't be written to ({error.strerror}). Name another folder.")


def write_text_whole(path: str | Path, text: str) -> None:
    """Write `text` to `path` as UTF-8, whole or not at all."""
    with written_whole(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")
