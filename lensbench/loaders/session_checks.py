"""A session file held to what it may say: right values, and mistakes in sentences with their lines."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, NamedTuple

from lensbench.formatting import as_argument
from lensbench.loaders.goals import Goals, goals_of_table
from lensbench.loaders.opening import nearest_file, nearest_name
from lensbench.loaders.session_keys import SHOT_KEYS, TABLE_KEYS, TargetEntry
from lensbench.loaders.toml_checks import Mistake, check_table
from lensbench.loaders.toml_lines import Key, line_of, read_toml

_OTHER_TABLES = ("goals", "shot")
"""Tables that have checks of their own."""


MOST_SAID = 30
"""More mistakes than this are counted only."""


class CheckedSession(NamedTuple):
    """The right values of the tables and of each [[shot]], the goals, and a sentence for each mistake."""

    tables: dict[str, dict[str, Any]]
    goals: Goals
    shots: list[dict[str, Any]]
    mistakes: list[str]


def check_session(folder: Path, path: Path) -> CheckedSession:
    """Check everything in a session file.

    Parameters
    ----------
    folder : Path
        With the shots.
    path : Path
        The session file.

    Returns
    -------
    CheckedSession

    Raises
    ------
    BenchError
        If the file can't be read or is no TOML.
    """
    data, text = read_toml(path)
    tables, wrong = _tables(data)
    shots, wrong_shots = _shots(data, folder)
    goals, wrong_goals = goals_of_table(data.get("goals", {}))
    mistakes = [*wrong, *wrong_shots, *wrong_goals, *_missing_layout(data, tables["target"], shots, folder)]
    return CheckedSession(tables, goals, shots, _in_words(path, text, mistakes))


def _tables(data: dict[str, Any]) -> tuple[dict[str, dict[str, Any]], list[Mistake]]:
    """The right values of the tables other than [[shot]], and what is wrong; unknown tables are mistakes."""
    mistakes: list[Mistake] = []
    for name, value in data.items():
        if name in TABLE_KEYS and not isinstance(value, dict):
            mistakes.append(Mistake((name,), f"{name} must be a table: write [{name}] on a line of its own."))
        elif name not in TABLE_KEYS and name not in _OTHER_TABLES:
            mistakes.append(Mistake((name,), _unknown_at_top(name, value)))
    checked = {
        name: check_table(data[name] if isinstance(data.get(name), dict) else {}, keys, (name,))
        for name, keys in TABLE_KEYS.items()
    }
    mistakes += [mistake for table in checked.values() for mistake in table.mistakes]
    return {name: table.values for name, table in checked.items()}, mistakes


def _unknown_at_top(name: str, value: Any) -> str:
    if isinstance(value, dict | list):
        return f"the table [{name}] is unknown{nearest_name(name, [*TABLE_KEYS, *_OTHER_TABLES])}"
    home = next((table for table, keys in TABLE_KEYS.items() if name in keys), None)
    if home:
        return f"{name} is outside of any table. Put it under [{home}]."
    if name in SHOT_KEYS:
        return f"{name} is outside of any table. Put it under a [[shot]]."
    tables = ", ".join(f"[{table}]" for table in (*TABLE_KEYS, "goals"))
    return f"the key {name} is unknown here. Every key belongs under {tables} or a [[shot]]."


def _shots(data: dict[str, Any], folder: Path) -> tuple[list[dict[str, Any]], list[Mistake]]:
    """The right values of every [[shot]], and what is wrong."""
    entries = data.get("shot", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        return [], [Mistake(("shot",), "every shot begins with [[shot]], in two pairs of brackets.")]
    mistakes: list[Mistake] = []
    if not entries:
        text = f"lists no shots. Add a [[shot]] for each, or run: lensbench session {as_argument(folder)}"
        mistakes.append(Mistake((), text))
    checked = [check_table(entry, SHOT_KEYS, ("shot", place)) for place, entry in enumerate(entries)]
    mistakes += [mistake for one in checked for mistake in one.mistakes]
    shots = [one.values for one in checked]
    seen: dict[str, int] = {}
    for place, (entry, shot) in enumerate(zip(entries, shots, strict=True)):
        mistakes += _wrong_as_a_whole(entry, shot, place, folder)
        if "file" in shot:
            path = os.path.realpath(folder / shot["file"])
            if path in seen:
                text = f"{shot['file']} is listed twice (it is also shot {seen[path] + 1}). Take one of them out."
                mistakes.append(Mistake(("shot", place, "file"), text))
            seen.setdefault(path, place)
    return shots, mistakes


def _wrong_as_a_whole(entry: dict[str, Any], shot: dict[str, Any], place: int, folder: Path) -> list[Mistake]:
    """What is wrong with a [[shot]] although each of its keys may be right."""
    at = ("shot", place)
    found = [
        Mistake(at, f"this [[shot]] has no {key}. {why}")
        for key, why in (
            ("file", 'Add file = "…", the name of its file.'),
            ("shows", 'Add shows = "target", "flat", "dark" or "blade".'),
        )
        if key not in entry
    ]
    if "f_number" in entry and "aperture" in entry:
        found.append(Mistake((*at, "aperture"), "f_number and aperture are both given. Keep the right one."))
    if "file" in shot:
        path = folder / shot["file"]
        if os.path.isdir(path):
            found.append(Mistake((*at, "file"), f"{shot['file']} is a folder, not a picture."))
        elif not os.path.isfile(path):
            found.append(
                Mistake((*at, "file"), f"there is no file {shot['file']} in {folder}{nearest_file(path)}")
            )
    return found


def _missing_layout(
    data: dict[str, Any], target: dict[str, Any], shots: list[dict[str, Any]], folder: Path
) -> list[Mistake]:
    """A session with shots of the target needs the target's own file."""
    path = folder / target.get("layout", TargetEntry().layout)
    if os.path.isfile(path) or not any(shot.get("shows") == "target" for shot in shots):
        return []
    key: Key = ("target", "layout") if "layout" in target else ("target",) if "target" in data else ()
    text = f"there is no {path.name} in {path.parent}, which says where the target's corners lie. Copy the one "
    return [Mistake(key, text + "that came with your printed target into it.")]


def _in_words(path: Path, text: str, mistakes: list[Mistake]) -> list[str]:
    """A sentence a mistake, in the file's order."""
    placed = sorted(((line_of(text, m.key) if m.key else None) or 0, m.text) for m in mistakes)
    said = [f"{path}, line {line}: {text}" if line else f"{path}: {text}" for line, text in placed[:MOST_SAID]]
    more = len(placed) - MOST_SAID
    return [*said, f"{path}: has {more:,} mistakes more. Mend these first."] if more > 0 else said
