"""What may stand in a session file: every key, and what its value must be."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from typing import Any, NamedTuple

from lensbench.loaders.encoding import ENCODINGS
from lensbench.loaders.opening import nearest_name
from lensbench.loaders.toml_lines import Key

SHOWS = ("target", "flat", "dark", "blade")
"""What a shot can show."""

Check = Callable[[Any], Any]
"""Gives back the value in its final type, or raises ValueError with a sentence that says what would be right."""


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


def list_of_places(means: str) -> Check:
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
        if len(value) > 200 or not value.isprintable():
            raise ValueError(f"It must be {means}: at most 200 characters, all of them printable.")
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


SHOT_KEYS: dict[str, Check] = {
    "file": words("the name of the shot's file"),
    "shows": one_of(SHOWS),
    "f_number": number(0.3, 512, "the f-number marked on the lens, such as 5.6"),
    "aperture": words('a name for the aperture, such as "third click"'),
    "setup": count("1 for the first setup, 2 after remounting and refocusing, and so on"),
    "rail_mm": number(-10_000, 10_000, "the reading of the rail in millimetres, such as 12.5"),
    "lens_turn_deg": number(
        -360, 360, "the angle in degrees by which the lens was turned in its mount, such as 90"
    ),
    "panel": count("1 for the light panel's first position, 2 for the next, and so on"),
    "panel_turn_deg": number(
        -360, 360, "the angle in degrees by which the light panel was turned anticlockwise as seen, such as 180"
    ),
    "panel_shift": pair(
        -2, 2, "how far the panel was moved, in widths of the picture to the right and in heights down: [0.3, 0]"
    ),
    "encoding": one_of(ENCODINGS),
}
"""The keys of a [[shot]]."""

TABLE_KEYS: dict[str, dict[str, Check]] = {
    "build": {
        "name": words("a name for this build of the lens"),
        "parts": list_of_words,
        "notes": note,
        "date": note,
    },
    "camera": {
        "sensor_mm": pair(2, 200, "the sensor's width and height in millimetres, such as [36.0, 24.0]"),
    },
    "lens": {
        "pupil_ratio": number(0.05, 20, "the exit pupil's width over the entrance pupil's, such as 1.0"),
    },
    "target": {
        "layout": words("the name of the target's file"),
        "rulers_measured_mm": pair(
            5, 5000, "the two ruler bars' lengths as measured, across and up, such as [149.8, 150.1]"
        ),
        "print_dpi": number(50, 50_000, "the printer's dots an inch, such as 600"),
        "ink_reflectance": number(0, 0.5, "the ink's light over the paper's, such as 0.04 (a density of 1.4)"),
        "light_traps": list_of_places("the tiles that are holes over black, such as [[7, 5], [0, 0]]"),
    },
}
"""The keys of the other tables."""


def check_table(data: Any, keys: dict[str, Check], at: Key, mistakes: list[Mistake]) -> dict[str, Any]:
    """The right values of a table; what is wrong is added to `mistakes`.

    Parameters
    ----------
    data : object
        What the file says at `at`.
    keys : dict
        The keys that may stand there.
    at : sequence
        The table's own key.
    mistakes : list of Mistake
        Grows.
    """
    right = {}
    for key, value in data.items():
        if key not in keys:
            mistakes.append(Mistake((*at, key), f"the key {key} is unknown here{nearest_name(key, list(keys))}"))
            continue
        try:
            right[key] = keys[key](value)
        except ValueError as error:
            said = f"{key} is still empty." if value == "" else f"{key} = {as_written(value)} is not allowed."
            mistakes.append(Mistake((*at, key), f"{said} {error}"))
    return right


def as_written(value: Any) -> str:
    """A value roughly as it stands in the file."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"' if len(value) < 60 else f'"{value[:57]}…"'
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    text = str(value)
    return text if len(text) < 60 else f"{text[:57]}…"
