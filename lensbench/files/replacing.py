"""A set of files that replaces the set of an earlier run, and nothing that anybody else put there.

New files are finished in ``.writing-<id>/`` inside the folder, beside a list of what is new and what was there
before, and then moved one by one, the one that names all others last. Whoever comes next finishes a move that was
cut short, or sweeps what had not begun to move; a lock keeps two runs apart. What is in the way without being as
the program wrote it stops the move before it begins.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import stat
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import msgspec

from lensbench.errors import BenchError
from lensbench.files.whole import made_folder, move_file

STAGING = ".writing-"
"""How folders of unfinished files begin; sixteen hexadecimal digits follow."""

LOCK = ".writing-lock"

WAIT_S = 60.0
"""How long a run waits for another that is writing into the same folder: a report is moved within a second."""

_LIST = "list.json"
_LIST_FORMAT = "lensbench-writing/1"


class WrittenFile(msgspec.Struct, frozen=True):
    """A file that the program wrote: its name in its folder, its size in bytes and the digest of its content."""

    name: str
    size: int
    sha256: str

    @classmethod
    def of(cls, name: str, content: bytes) -> WrittenFile:
        """The entry of a file with some content."""
        return cls(name, len(content), hashlib.sha256(content).hexdigest())


class _Move(msgspec.Struct, frozen=True):
    """What is being written: the new files in the order of their move, and those of the earlier run."""

    new: list[WrittenFile]
    earlier: list[WrittenFile]
    format: str = _LIST_FORMAT


def is_as_written(folder: Path, file: WrittenFile) -> bool:
    """Whether a file is as the program wrote it: a plain file, not write-protected, with the same content."""
    path = folder / file.name
    try:
        status = path.lstat()
        if not stat.S_ISREG(status.st_mode) or not status.st_mode & stat.S_IWUSR or status.st_size != file.size:
            return False
        with path.open("rb") as opened:
            return hashlib.file_digest(opened, "sha256").hexdigest() == file.sha256
    except OSError:
        return False


@contextlib.contextmanager
def locked_folder(folder: Path) -> Iterator[None]:
    """Keep other runs from writing into a folder, which is made where missing, and mend what a killed run left.

    Raises
    ------
    BenchError
        Where the folder can't be written to, or another run doesn't finish with it.
    """
    from filelock import FileLock, Timeout

    made_folder(folder)
    path = folder / LOCK
    if os.path.lexists(path) and (path.is_symlink() or not path.is_file() or path.stat().st_size):
        raise BenchError(f"{path}: is in the way of the lock that keeps two runs apart. Move or rename it.")
    lock = FileLock(path, timeout=WAIT_S)
    try:
        lock.acquire()
    except Timeout:
        raise BenchError(
            f"{folder}: another run has been writing there for a minute. Wait for it to end, then start again."
        ) from None
    except OSError as error:
        raise BenchError(f"{folder}: can't be written to ({error.strerror}). Name another folder.") from None
    try:
        _mend(folder)
        yield
    finally:
        # While it is still held: whoever waits for it looks whether it is still there when their turn comes.
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
        lock.release()


def replace_files(folder: Path, contents: Mapping[str, bytes], earlier: Sequence[WrittenFile], last: str) -> None:
    """Put new files into a locked folder in the place of an earlier run's.

    Parameters
    ----------
    folder : Path
        As `locked_folder` holds it.
    contents : mapping of str to bytes
        The new files by name.
    earlier : sequence of WrittenFile
        The earlier run's files. Those that are no longer among the new ones are removed; those that are not as
        they were written stay.
    last : str
        The file that is moved last: it names all others.

    Raises
    ------
    BenchError
        Where a file is in the way that is not as the program wrote it; nothing has changed then.
    """
    order = sorted(contents, key=lambda name: name == last)
    move = _Move([WrittenFile.of(name, contents[name]) for name in order], list(earlier))
    in_the_way = files_in_the_way(folder, order, earlier)
    if in_the_way:
        raise _refused(folder, in_the_way[0])
    staging = folder / f"{STAGING}{secrets.token_hex(8)}"
    staging.mkdir()
    try:
        _write_synced(staging / _LIST, msgspec.json.encode(move))
        for name in order:
            _write_synced(staging / name, contents[name])
    except BaseException:
        _sweep(staging, move)
        raise
    _finish(folder, staging, move)


def files_in_the_way(folder: Path, names: Sequence[str], earlier: Sequence[WrittenFile]) -> list[str]:
    """Those of some names under which a folder holds something that is not as the earlier run wrote it."""
    return [
        name
        for name in names
        if os.path.lexists(folder / name)
        and not any(file.name == name and is_as_written(folder, file) for file in earlier)
    ]


def _refused(folder: Path, name: str) -> BenchError:
    return BenchError(
        f"{folder / name}: is not as lensbench wrote it, so it is not replaced. Move or rename it, then run again."
    )


def _write_synced(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


# -- moving, and mending what was cut short -------------------------------------------------------------------


def _finish(folder: Path, staging: Path, move: _Move) -> None:
    """Move what is not in its place yet, remove what belonged to the earlier run only, and sweep."""
    *others, last = move.new
    for file in others:
        _put_in_place(folder, staging, file, move.earlier)
    kept = {file.name for file in move.new}
    for file in move.earlier:
        if file.name not in kept and is_as_written(folder, file):
            (folder / file.name).unlink()
    _put_in_place(folder, staging, last, move.earlier)
    _sweep(staging, move)


def _put_in_place(folder: Path, staging: Path, file: WrittenFile, earlier: Sequence[WrittenFile]) -> None:
    if not (staging / file.name).exists():
        return
    if files_in_the_way(folder, [file.name], [*earlier, file]):
        raise _refused(folder, file.name)
    move_file(staging / file.name, folder / file.name)


def _mend(folder: Path) -> None:
    """Finish the moves that killed runs had begun, and sweep what had not begun to move."""
    for staging in sorted(folder.glob(f"{STAGING}{'[0-9a-f]' * 16}")):
        if staging.is_symlink() or not staging.is_dir():
            continue
        move = _read_move(staging)
        if move is None:
            continue
        waiting = [file for file in move.new if is_as_written(staging, file)]
        complete = all(file in waiting or is_as_written(folder, file) for file in move.new)
        begun = len(waiting) < len(move.new)
        blocked = files_in_the_way(folder, [file.name for file in waiting], move.earlier)
        if complete and (begun or not blocked):
            _finish(folder, staging, move)
        else:
            _sweep(staging, move)


def _read_move(staging: Path) -> _Move | None:
    """What was being written there; None where that is not known, and nothing there may be touched."""
    try:
        move = msgspec.json.decode((staging / _LIST).read_bytes(), type=_Move)
    except FileNotFoundError:
        # Killed before its list was begun; where it holds anything else this fails, and it stays.
        with contextlib.suppress(OSError):
            staging.rmdir()
        return None
    except (OSError, msgspec.DecodeError, UnicodeDecodeError):
        # Killed while its list was written, if there is nothing else.
        if [path.name for path in staging.iterdir()] == [_LIST]:
            _sweep(staging, _Move([], []))
        return None
    names = [file.name for file in (*move.new, *move.earlier)]
    plain = all(name == Path(name).name and name not in ("", ".", "..") for name in names)
    return move if move.format == _LIST_FORMAT and move.new and plain else None


def _sweep(staging: Path, move: _Move) -> None:
    """Remove the listed files of a staging folder, and the folder where nothing else is left in it."""
    with contextlib.suppress(OSError):
        for file in move.new:
            (staging / file.name).unlink(missing_ok=True)
        (staging / _LIST).unlink(missing_ok=True)
        staging.rmdir()
