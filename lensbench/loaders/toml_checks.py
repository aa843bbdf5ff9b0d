"""What values in a TOML file may be: checks, and the mistakes that they find, in words."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from lensbench.loaders.opening import nearest_name
from lensbench.loaders.toml_lines import Key

Check = Callable[[Any], Any]
"""Gives back the value in its final type, or raises ValueError with a sentence that says what would be right."""


LONGEST_NAME = 200
"""Characters in a name."""


class Mistake(NamedTuple):
    """A key that is wrong, and the sentence that says how, beginning after the file's name and line."""

    key: Key
    text: str


def number(low: float, high: float, means: str) -> Check:
    """A finite number from `low` to `high`; `means` says in words what it is, with an example."""

    def check(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise ValueError(f"It must be {means}.")
        return float(value)

    return check


def count(means: str) -> Check:
    """A whole number from 1 on."""

    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 1_000_000:
            raise ValueError(f"It must be a whole number from 1 on, {means}.")
        return value

    return check


def pair(low: float, high: float, means: str) -> Check:
    """Two numbers in square brackets, each from `low` to `high`."""
    single = number(low, high, means)

    def check(value: Any) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise ValueError(f"It must be {means}.")
        return single(value[0]), single(value[1])

    return check


def list_of_tiles(means: str) -> Check:
    """Pairs of whole numbers: columns and rows of tiles."""

    def check(value: Any) -> list[tuple[int, int]]:
        pairs = value if isinstance(value, list) else [None]
        whole = all(
            isinstance(p, list) and len(p) == 2 and all(isinstance(n, int) and not isinstance(n, bool) for n in p)
            for p in pairs
        )
        if not whole:
            raise ValueError(f"It must be {means}: column and row of each, as in target.json.")
        return [(column, row) for column, row in value]

    return check


def words(means: str) -> Check:
    """Some text in quotes, such as may be a file's name."""

    def check(value: Any) -> str:
        if not isinstance(value, str) or not value.strip():
            raise ValueError(f"It must be {means}, in quotes.")
        if len(value) > LONGEST_NAME or not value.isprintable():
            raise ValueError(f"It must be {means}: at most {LONGEST_NAME} characters, all of them printable.")
        return value

    return check


def note(value: Any) -> str:
    """Any text in quotes, or a date."""
    if isinstance(value, datetime.date):
        return value.isoformat()
    if not isinstance(value, str):
        raise ValueError("It must be text in quotes.")
    return value


def list_of_words(value: Any) -> list[str]:
    """Texts in square brackets."""
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise ValueError('It must be a list of texts, such as ["front group", "brass tube"].')
    return value


def one_of(choices: tuple[str, ...]) -> Check:
    """One of a few words."""
    *most, last = (f'"{choice}"' for choice in choices)

    def check(value: Any) -> str:
        if value not in choices:
            like = nearest_name(value, list(choices)) if isinstance(value, str) else "."
            raise ValueError(f"It can be {', '.join(most)} or {last}{like}")
        return value

    return check


class CheckedTable(NamedTuple):
    """The right values of a table, and what is wrong with it."""

    values: dict[str, Any]
    mistakes: list[Mistake]


def check_table(data: Mapping[str, Any], keys: Mapping[str, Check], at: Key) -> CheckedTable:
    """Check every key of a table.

    Parameters
    ----------
    data : mapping
        What the file says at `at`.
    keys : mapping of str to Check
        The keys that the table may have.
    at : sequence
        The table's own key.

    Returns
    -------
    CheckedTable
    """
    right: dict[str, Any] = {}
    mistakes: list[Mistake] = []
    for key, value in data.items():
        if key not in keys:
            mistakes.append(Mistake((*at, key), f"the key {key} is unknown here{nearest_name(key, list(keys))}"))
            continue
        try:
            right[key] = keys[key](value)
        except ValueError as error:
            said = f"{key} is still empty." if value == "" else f"{key} = {as_written(value)} is not allowed."
            mistakes.append(Mistake((*at, key), f"{said} {error}"))
    return CheckedTable(right, mistakes)


def as_written(value: Any) -> str:
    """A value roughly as it stands in the file."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"' if len(value) < 60 else f'"{value[:57]}…"'
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    try:
        text = str(value)
    except ValueError:
        # Python writes out no number of thousands of digits.
        text = "a number with thousands of digits"
    return text if len(text) < 60 else f"{text[:57]}…"
