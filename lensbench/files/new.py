"""Files that are only ever new: one that exists already is left as it is."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from lensbench.errors import BenchError
from lensbench.files.whole import check_writable, written_whole


def write_new(contents: Mapping[Path, bytes], advice: str) -> None:
    """Write files that don't exist yet; one that holds the same bytes already counts as written.

    Parameters
    ----------
    contents : mapping of Path to bytes
        What to write where. Nothing is written where any of them is in the way of something else.
    advice : str
        What the user can do where a file is in the way, as a sentence.

    Raises
    ------
    BenchError
        Where a path leads to anything but the same bytes, or can't be written to.
    """
    missing = {path: content for path, content in contents.items() if not _is_there(path, content, advice)}
    for path, content in missing.items():
        with written_whole(path) as temporary:
            temporary.write_bytes(content)
            # Somebody else may have put a file there since the first look.
            _is_there(path, content, advice)


def check_new(path: Path, begins: bytes, advice: str) -> None:
    """Refuse, before any work, a path where `write_new` can't write.

    Parameters
    ----------
    path : Path
    begins : bytes
        How files of the kind begin: one that is there already may hold the same bytes.
    advice : str
        What the user can do, as a sentence.

    Raises
    ------
    BenchError
        Where something else is there already, or its folder can't be written to.
    """
    try:
        alike = path.is_file() and path.read_bytes().startswith(begins)
    except OSError:
        alike = False
    if os.path.lexists(path) and not alike:
        raise BenchError(f"{path}: exists already, and existing files are not overwritten. {advice}")
    check_writable(path.parent, advice)


def _is_there(path: Path, content: bytes, advice: str) -> bool:
    """Whether a file holds a content already; refused where it holds another."""
    if not path.exists() and not path.is_symlink():
        return False
    try:
        same = path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content
    except OSError:
        same = False
    if not same:
        raise BenchError(f"{path}: exists already, and existing files are not overwritten. {advice}")
    return True
