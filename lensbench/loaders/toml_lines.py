"""TOML files read so that every mistake can be named with its line."""

from __future__ import annotations

import bisect
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from lensbench.errors import BenchError

Key = Sequence[str | int]
"""The way to a value: names of tables and keys, and places in lists counted from 0."""


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """What a TOML file says, and its text.

    Raises
    ------
    BenchError
        If the file can't be read or isn't TOML, with the line and a hint at what would be right.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise BenchError(f"{path}: can't be read ({error.strerror}). Look at the file's permissions.") from None
    except UnicodeDecodeError:
        raise BenchError(f"{path}: is not a UTF-8 text file. Save it as plain text, encoded as UTF-8.") from None
    # Lines end as Windows writes them, or as everybody else does; TOML knows no third way.
    text = text.replace("\r\n", "\n")
    try:
        return tomllib.loads(text), text
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BenchError(_not_toml(path, text, error)) from None


def line_of(text: str, key: Key) -> int | None:
    """The line, counted from 1, on which a key is first given; None where it isn't."""
    lines = text.split("\n")
    counts = range(len(lines) + 1)
    # Key after key appears as more lines are read, so the line that brings this one can be searched for by halves.
    first = bisect.bisect_left(counts, True, key=lambda count: _holds(_first_lines(lines, count), key))
    return first if first in counts else None


def _first_lines(lines: list[str], count: int) -> dict[str, Any]:
    """What the first lines say, read on to the end of a value that runs over several."""
    for end in range(count, len(lines)):
        try:
            return tomllib.loads("\n".join(lines[:end]))
        except tomllib.TOMLDecodeError:
            continue
    return tomllib.loads("\n".join(lines))


def _holds(data: Any, key: Key) -> bool:
    for part in key:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return False
    return True


def _not_toml(path: Path, text: str, error: Exception) -> str:
    said = str(error)
    place = re.search(r"at line (\d+)", said)
    number = int(place[1]) if place else text.count("\n") + 1
    line = text.split("\n")[number - 1]
    why = re.sub(r"\s*\(at [^)]*\)", "", said)
    return f"{path}, line {number}: {line.strip()!r} can't be understood ({why}). {_hint(line, why)}"


def _hint(line: str, why: str) -> str:
    """What is most likely wrong with a line of TOML."""
    value = line.partition("=")[2].strip()
    if "overwrite" in why or "twice" in why.lower():
        return "The same key or [table] is here a second time; remove one of them."
    if re.match(r"[-+]?\d+,\d", value):
        return "Write decimals with a point, such as 5.6."
    if re.search("[“”„‘’«»]", line):
        return 'Use plain straight quotes: "…".'
    if re.match(r"[fF]\s*/\s*\d", value):
        return "Write the number alone, without f/: f_number = 5.6."
    if value and re.match(r"[^\W\d]", value) and not value.startswith(("true", "false")):
        return 'Put words and file names in quotes: "…".'
    if "=" not in line and not line.strip().startswith("["):
        return "Write key = value, or begin the line with # to make it a note."
    return "Look for a missing quote or bracket on this line or the one before."
