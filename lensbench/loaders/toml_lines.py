"""TOML files read so that every mistake can be named with its line."""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

from lensbench.errors import BenchError
from lensbench.files import read_whole

LONGEST_SHOWN = 100
"""Characters of a line that a sentence about it repeats."""

Key = Sequence[str | int]
"""The way to a value: names of tables and keys, and places in lists counted from 0."""

MOST_BYTES = 1_000_000
"""A session file of a thousand shots has 200 kB; Python takes seconds for a megabyte."""

DEEPEST = 20
"""Tables in tables; session files and goals need three."""


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """What a TOML file says, and its text.

    Raises
    ------
    BenchError
        If the file can't be read or isn't TOML, with the line and a hint at what would be right.
    """
    try:
        text = read_whole(path, MOST_BYTES, "Look at the file's permissions.").decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BenchError(f"{path}: is not a UTF-8 text file. Save it as plain text, encoded as UTF-8.") from None
    # Lines end as Windows writes them, or as everybody else does; TOML knows no third way.
    text = text.replace("\r\n", "\n")
    deep = _line_of_deep_key(text)
    if deep is not None:
        raise BenchError(
            f"{path}, line {deep}: has more than {DEEPEST} names joined by points, which no key here needs. "
            'Put text in quotes: "…".'
        )
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # Numbers of thousands of digits are refused by Python itself, without a place.
        raise BenchError(_not_toml(path, text, error)) from None
    if not _is_shallow(data):
        raise BenchError(f"{path}: has tables in tables in tables, {DEEPEST} deep and more. Begin it anew.")
    return data, text


def _line_of_deep_key(text: str) -> int | None:
    """The first line with a key of more than `DEEPEST` names.

    Python's reader takes time and memory that grow with the square of their number.
    """
    line, points = 1, 0
    for token in _TOKEN.finditer(text):
        kind, said = token.lastgroup, token[0]
        if kind == "plain":
            first, *others = re.split("[=,]", said)
            points = max([points + first.count("."), *(part.count(".") for part in others)])
            if points > DEEPEST:
                return line
            points = others[-1].count(".") if others else points
        elif kind not in ("string", "long"):
            # A name in quotes may stand among those of a key.
            points = 0
        line += said.count("\n")
    return None


def _is_shallow(data: Any) -> bool:
    """Whether nothing lies deeper than `DEEPEST`; looked at level by level, since calls may not go so deep."""
    level = [data]
    for _ in range(DEEPEST):
        level = [
            inner
            for value in level
            for inner in (value.values() if isinstance(value, dict) else value if isinstance(value, list) else ())
            if isinstance(inner, dict | list)
        ]
        if not level:
            return True
    return False


def line_of(text: str, key: Key) -> int | None:
    """The line, counted from 1, on which a key is first given; None where it isn't.

    A key inside of a value that is written on one line, `{…}` or `[…]`, is given on that value's line.
    """
    data, lines = _lines_of_keys(text)
    if not _holds(data, key):
        return None
    for end in range(len(key), 0, -1):
        found = lines.get(tuple(key[:end]))
        if found is not None:
            return found
    return None


@functools.lru_cache(maxsize=2)
def _lines_of_keys(text: str) -> tuple[dict[str, Any], Mapping[tuple[str | int, ...], int]]:
    """What a text says, and the line of every table and key, in one pass over it."""
    lines: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    for statement in _statements(text):
        header = re.match(r"\[(\[?)(.*?)\]?\]\s*(?:#.*)?$", statement.text)
        if header:
            table = _placed(_key_parts(header[2]), counts)
            for end in range(1, min(len(table), DEEPEST)):
                lines.setdefault(table[:end], statement.line)
            if header[1]:
                counts[table] = counts.get(table, -1) + 1
                lines.setdefault(table, statement.line)
                table = (*table, counts[table])
            lines.setdefault(table, statement.line)
            continue
        name = _KEY.match(statement.text)
        if name:
            _note(lines, table, _key_parts(name[0]), statement.line)
    return tomllib.loads(text), MappingProxyType(lines)


def _holds(data: Any, key: Key) -> bool:
    for part in key:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return False
    return True


_QUOTED = r"\"(?:[^\"\\]|\\.)*\"|'[^']*'"
_KEY = re.compile(rf"(?:{_QUOTED}|[^\"'=])+(?==)")
"""What stands before a value's sign of equality; in quotes there may be another one."""


def _note(
    lines: dict[tuple[str | int, ...], int], table: tuple[str | int, ...], parts: tuple[str, ...], line: int
) -> None:
    for end in range(1, len(parts[:DEEPEST]) + 1):
        lines.setdefault((*table, *parts[:end]), line)


def _placed(parts: tuple[str, ...], counts: Mapping[tuple[str | int, ...], int]) -> tuple[str | int, ...]:
    """A header's way, with the place in each list of tables that it goes through: [shot.more] is of the last."""
    way: tuple[str | int, ...] = ()
    for number, part in enumerate(parts):
        way = (*way, part)
        if way in counts and number < len(parts) - 1:
            way = (*way, counts[way])
    return way


def _key_parts(name: str) -> tuple[str, ...]:
    """The names in a dotted key."""
    if re.fullmatch(r"\s*[A-Za-z0-9_-]+\s*", name):
        return (name.strip(),)
    quoted = r"\"((?:[^\"\\]|\\.)*)\"|'([^']*)'|([A-Za-z0-9_-]+)"
    return tuple(
        _unquoted(match[1]) if match[1] is not None else match[2] if match[2] is not None else match[3]
        for match in re.finditer(quoted, name)
    )


def _unquoted(inner: str) -> str:
    try:
        return str(tomllib.loads(f'key = "{inner}"')["key"])
    except ValueError:
        return inner


class _Statement(NamedTuple):
    """A header or the beginning of a key's value, and its line."""

    line: int
    text: str


# A string that is never closed goes to the end, so that its text is gone through once, not from every quote anew.
_TOKEN = re.compile(
    r'(?P<long>"""(?:[^\\]|\\.?)*?(?:"""|\Z)|\'\'\'.*?(?:\'\'\'|\Z))'
    r'|(?P<string>"(?:[^"\\\n]|\\.?)*(?:"|(?=\n)|\Z)|\'[^\'\n]*(?:\'|(?=\n)|\Z))'
    r"|(?P<comment>\#[^\n]*)|(?P<open>[\[{])|(?P<close>[\]}])|(?P<end>\n)|(?P<plain>[^\"'\#\[\]{}\n]+|.)",
    re.DOTALL,
)


def _statements(text: str) -> Iterator[_Statement]:
    """The statements of a TOML text, each with the line on which it begins."""
    line, first, depth = 1, 1, 0
    parts: list[str] = []
    for token in _TOKEN.finditer(text):
        kind, said = token.lastgroup, token[0]
        if kind == "end" and depth <= 0:
            if statement := "".join(parts).strip():
                yield _Statement(first, statement)
            parts, first, depth = [], line + 1, 0
        elif kind != "comment":
            depth += (kind == "open") - (kind == "close")
            parts.append(said)
        line += said.count("\n")
    if statement := "".join(parts).strip():
        yield _Statement(first, statement)


def _not_toml(path: Path, text: str, error: Exception) -> str:
    said = str(error)
    place = re.search(r"at line (\d+)", said)
    number = int(place[1]) if place else text.count("\n") + 1
    line = text.split("\n")[number - 1]
    why = re.sub(r"\s*\(at [^)]*\)", "", said)
    shown = line.strip() if len(line.strip()) <= LONGEST_SHOWN else f"{line.strip()[:LONGEST_SHOWN]}…"
    return f"{path}, line {number}: {shown!r} can't be understood ({why}). {_hint(line, why)}"


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
