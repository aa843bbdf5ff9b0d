"""The first look at a file: whether it is there, can be read, and what its first bytes say that it is."""

from __future__ import annotations

import difflib
import os
from pathlib import Path

from lensbench.errors import BenchError
from lensbench.files import reason_of, refuse_odd_file

JPEG, PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
"""How the files begin."""

SMALLEST = 32
"""Frames with fewer pixels on a side hold no picture that could be measured."""

LARGEST = 1_000_000_000
"""More samples than any camera's frame has: such a size comes from a damaged file."""


def read_head(path: str | Path, length: int = 512) -> bytes:
    """The first bytes of a file.

    Raises
    ------
    BenchError
        If the path leads nowhere (with the nearest name in its folder), to a folder, to an empty file, or to one
        that may not be read.
    """
    path = Path(path)
    if os.path.isdir(path):
        raise BenchError(f"{path.name or path}: is a folder, not a picture. Name the shot's own file.")
    try:
        refuse_odd_file(path)
        with path.open("rb") as file:
            head = file.read(length)
    except FileNotFoundError:
        raise BenchError(f"{path}: there is no such file{nearest_file(path)}") from None
    except (OSError, ValueError) as error:
        raise BenchError(f"{path}: can't be read ({reason_of(error)}). Look at the file's permissions.") from None
    if not head:
        raise BenchError(f"{path.name}: is empty (0 bytes). Copy it from the card again.")
    return head


def nearest_file(path: Path) -> str:
    """The end of a sentence that names the file most like a missing one, or a full stop."""
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.is_file())
    except OSError:
        return f", nor a folder {path.parent}." if not path.parent.exists() else "."
    return nearest_name(path.name, names)


def nearest_name(name: str, names: list[str]) -> str:
    """The end of a sentence that suggests the one of `names` most like `name`, or a full stop."""
    by_small = {n.lower(): n for n in names}
    like = difflib.get_close_matches(name.lower(), list(by_small), n=1, cutoff=0.6)
    return f"; did you mean {by_small[like[0]]}?" if like else "."


def check_size(name: str, width: int, height: int, planes: int = 1) -> None:
    """Refuse frames that are too small to hold a picture or larger than any camera's.

    Raises
    ------
    BenchError
        Naming the size.
    """
    if width < SMALLEST or height < SMALLEST:
        raise BenchError(
            f"{name}: is only {width} × {height} pixels, too few to measure anything in. Use the camera's own "
            "full-size file."
        )
    if width * height * planes > LARGEST:
        raise BenchError(
            f"{name}: says that it is {width} × {height} pixels, more than any camera has. It is damaged; copy it "
            "from the card again."
        )
