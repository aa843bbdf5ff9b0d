"""A folder of results: written whole, in the place of its own earlier content and of nothing else."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from lensbench.errors import BenchError
from lensbench.files import files_in_the_way, locked_folder, replace_files
from lensbench.findings import files_as_written
from lensbench.loaders.session import SESSION_FILE
from lensbench.loaders.shot_file import RAW_ENDINGS

_USERS_OWN = frozenset((SESSION_FILE, "target.json"))
_SHOT_ENDINGS = RAW_ENDINGS | {".tif", ".tiff"}


class Written(NamedTuple):
    """Where results were written, and why they stand beside the folder of their name, if they do."""

    folder: Path
    note: str | None = None


def put_in_folder(
    parent: str | Path,
    base: str,
    contents: Mapping[str, bytes],
    own_file: str,
    reason_to_keep: Callable[[Path], str | None],
) -> Written:
    """Write files into ``parent/base/``, or beside it where anything there is to be kept.

    Parameters
    ----------
    parent : path
        Made where missing.
    base : str
        The folder's name; ``-2`` and so on are added where it is taken.
    contents : mapping of str to bytes
        The files by name.
    own_file : str
        The one that lists them all; it is moved into its place last.
    reason_to_keep : callable
        Says of a folder whose files are as they were written why they are kept, as the end of a sentence; None
        where they may be replaced.

    Raises
    ------
    BenchError
        Where the folder holds shots, a session file or a target file, or can't be written to.
    """
    note = None
    for number in itertools.count(1):
        folder = Path(parent) / (base if number == 1 else f"{base}-{number}")
        refuse_the_users_own(folder)
        with locked_folder(folder):
            reason = _in_the_way(folder, list(contents), own_file) or (
                reason_to_keep(folder) if (folder / own_file).exists() else None
            )
            if reason is None:
                replace_files(folder, contents, files_as_written(folder, own_file) or [], own_file)
                return Written(folder, f"{note} This one is in {folder}." if note else None)
            note = note or f"{folder}: {reason}, and is kept."
    raise AssertionError("numbers don't end")


def refuse_the_users_own(folder: Path) -> None:
    """Refuse a folder that the user keeps shots, a session file or a target file in."""
    if folder.exists() and not folder.is_dir():
        raise BenchError(f"{folder}: is a file, where the report's folder should go. Move it, or choose --out.")
    try:
        names = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    except OSError as error:
        raise BenchError(f"{folder}: can't be read ({error.strerror}). Choose another place with --out.") from None
    own = [name for name in names if name in _USERS_OWN or Path(name).suffix.lower() in _SHOT_ENDINGS]
    if own:
        raise BenchError(
            f"{folder}: holds {own[0]}, which is yours, so no report is written there. Choose another place with "
            "--out, or give this build another name in session.toml."
        )


def _in_the_way(folder: Path, names: list[str], own_file: str) -> str | None:
    """What in a folder is not as the program wrote it, as the end of a sentence; None where all is."""
    if not any(not path.name.startswith(".") for path in folder.iterdir()):
        return None
    if not (folder / own_file).exists():
        return "holds files that are no report"
    earlier = files_as_written(folder, own_file)
    if earlier is None:
        return "holds a report that is not as this program wrote it"
    in_the_way = files_in_the_way(folder, names, earlier)
    if in_the_way:
        return f"holds a {in_the_way[0]} that is not as this program wrote it"
    return None
