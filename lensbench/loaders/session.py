"""A folder and its session file to a Session: which shot shows what, taken how."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from lensbench.errors import BenchError
from lensbench.findings import Build
from lensbench.formatting import as_argument
from lensbench.loaders.opening import nearest_file, nearest_name
from lensbench.loaders.session_keys import SHOT_KEYS, TABLE_KEYS, Mistake, as_written, check_table
from lensbench.loaders.toml_lines import line_of, read_toml

SESSION_FILE = "session.toml"

UNEVEN_PRINT = 0.05
"""No printer draws one way longer than the other by more than this share ..."""

MOST_SCALED = 2.0
"""... nor anything so many times as large, or as small."""


class CameraEntry(msgspec.Struct, frozen=True):
    """`[camera]` of the session file."""

    sensor_mm: tuple[float, float] | None = None


class LensEntry(msgspec.Struct, frozen=True):
    """`[lens]` of the session file."""

    pupil_ratio: float = 1.0


class TargetEntry(msgspec.Struct, frozen=True):
    """`[target]` of the session file; `layout` is relative to the session's folder."""

    layout: str = "target.json"
    rulers_measured_mm: tuple[float, float] | None = None
    print_dpi: float | None = None
    ink_reflectance: float | None = None
    light_traps: list[tuple[int, int]] = []


class ShotEntry(msgspec.Struct, frozen=True):
    """One `[[shot]]` of the session file."""

    file: str
    shows: str
    f_number: float | None = None
    aperture: str | None = None
    setup: int = 1
    rail_mm: float | None = None
    lens_turn_deg: float = 0.0
    panel: int = 1
    panel_turn_deg: float = 0.0
    panel_shift: tuple[float, float] | None = None
    encoding: str | None = None


class Session(msgspec.Struct, frozen=True):
    """The shots of one bench evening, in one folder."""

    folder: Path
    build: Build
    camera: CameraEntry
    lens: LensEntry
    target: TargetEntry
    shots: list[ShotEntry]


def load_session(folder: str | Path) -> Session:
    """Read a folder's session file and check everything in it.

    Parameters
    ----------
    folder : path
        The folder with the shots and their ``session.toml``.

    Returns
    -------
    Session
        Every file that it names is there; whether each can be loaded isn't known yet.

    Raises
    ------
    BenchError
        Naming each mistake with its line, its key and what would be right.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import numpy as np
    >>> from lensbench import Exposure, Shot, load_session
    >>> from lensbench.dng import write_dng
    >>> from lensbench.loaders import start_session
    >>> folder = Path(tempfile.mkdtemp())
    >>> light = np.random.default_rng(1).poisson(np.full((200, 300), 9000.0))
    >>> flat = Shot.from_array(light, white=16000, exposure=Exposure(f_number=5.6))
    >>> write_dng(folder / "w_056.dng", flat)
    >>> _ = start_session(folder)  # writes session.toml, as the command `lensbench session` does
    >>> session = load_session(folder)
    >>> [(shot.file, shot.shows, shot.f_number) for shot in session.shots]
    [('w_056.dng', 'flat', 5.6)]
    """
    folder = Path(folder)
    tables, shots, mistakes = _checked(folder, session_file(folder))
    if mistakes:
        raise BenchError("\n".join(mistakes))
    return Session(
        folder=folder,
        build=Build(**{"name": folder.resolve().name, **tables["build"]}),
        camera=CameraEntry(**tables["camera"]),
        lens=LensEntry(**tables["lens"]),
        target=TargetEntry(**tables["target"]),
        shots=[ShotEntry(**shot) for shot in shots],
    )


def session_mistakes(folder: str | Path) -> list[str]:
    """What in a folder's session file has to be mended before it can be measured, a sentence each; maybe none.

    Raises
    ------
    BenchError
        Where the file isn't there, or no TOML.
    """
    return _checked(Path(folder), session_file(Path(folder)))[-1]


def refuse_odd_rulers(session: Session, drawn_mm: tuple[float, float]) -> None:
    """Refuse measured bars that no printer makes of those drawn: swapped ones, another sheet's, centimetres.

    Raises
    ------
    BenchError
        With the line, and what was drawn.
    """
    measured = session.target.rulers_measured_mm
    if measured is None:
        return
    least, most = sorted(length / drawn for length, drawn in zip(measured, drawn_mm, strict=True))
    if most <= (1 + UNEVEN_PRINT) * least and least > 1 / MOST_SCALED and most < MOST_SCALED:
        return
    path = session_file(session.folder)
    line = line_of(read_toml(path)[1], ("target", "rulers_measured_mm"))
    raise BenchError(
        f"{path}, line {line}: rulers_measured_mm = {as_written(list(measured))} can't be right. The bars "
        f"were drawn {drawn_mm[0]:.1f} mm across and {drawn_mm[1]:.1f} mm up, and printers stretch both alike. "
        "Measure them again, in millimetres, the one that runs across first."
    )


def session_file(folder: Path) -> Path:
    """The session file of a folder, which must be there.

    Raises
    ------
    BenchError
        Saying what there is instead.
    """
    path = folder / SESSION_FILE
    check_folder(folder)
    if path.is_file():
        return path
    raise BenchError(
        f"{folder}: has no {SESSION_FILE}, which says what each shot shows. Run: lensbench session "
        f"{as_argument(folder)}"
    )


def check_folder(folder: Path) -> None:
    """Refuse what isn't a folder with something in it.

    Raises
    ------
    BenchError
        Saying what it is.
    """
    if folder.is_file():
        raise BenchError(f"{folder}: is a file. Name the folder with the shots in it: {folder.parent}")
    try:
        empty = not any(folder.iterdir())
    except FileNotFoundError:
        raise BenchError(f"{folder}: there is no such folder{_nearest_folder(folder)}") from None
    except OSError as error:
        raise BenchError(f"{folder}: can't be read ({error.strerror}). Look at its permissions.") from None
    if empty:
        text = f"{folder}: is empty. Copy the shots into it, then run: lensbench session {as_argument(folder)}"
        raise BenchError(text)


def _checked(folder: Path, path: Path) -> tuple[dict[str, dict[str, Any]], list[dict[str, Any]], list[str]]:
    """The right values of the tables and of the shots, and what is wrong."""
    data, text = read_toml(path)
    mistakes: list[Mistake] = []
    tables = _tables(data, mistakes)
    shots = _shots(data, folder, mistakes)
    _check_layout(data, tables["target"], shots, folder, mistakes)
    return tables, shots, _in_words(path, text, mistakes)


def _nearest_folder(folder: Path) -> str:
    try:
        return nearest_name(folder.name, sorted(p.name for p in folder.parent.iterdir() if p.is_dir()))
    except OSError:
        return "."


def _tables(data: dict[str, Any], mistakes: list[Mistake]) -> dict[str, dict[str, Any]]:
    """The checked values of the tables other than [[shot]]; unknown tables are mistakes."""
    for name, value in data.items():
        if name in TABLE_KEYS and not isinstance(value, dict):
            mistakes.append(Mistake((name,), f"{name} must be a table: write [{name}] on a line of its own."))
        elif name not in TABLE_KEYS and name != "shot":
            mistakes.append(Mistake((name,), _unknown_at_top(name, value)))
    return {
        name: check_table(data[name], keys, (name,), mistakes) if isinstance(data.get(name), dict) else {}
        for name, keys in TABLE_KEYS.items()
    }


def _unknown_at_top(name: str, value: Any) -> str:
    if isinstance(value, dict | list):
        return f"the table [{name}] is unknown{nearest_name(name, [*TABLE_KEYS, 'shot'])}"
    home = next((table for table, keys in TABLE_KEYS.items() if name in keys), None)
    if home:
        return f"{name} is outside of any table. Put it under [{home}]."
    if name in SHOT_KEYS:
        return f"{name} is outside of any table. Put it under a [[shot]]."
    tables = ", ".join(f"[{table}]" for table in TABLE_KEYS)
    return f"the key {name} is unknown here. Every key belongs under {tables} or a [[shot]]."


def _shots(data: dict[str, Any], folder: Path, mistakes: list[Mistake]) -> list[dict[str, Any]]:
    """The checked values of every [[shot]]."""
    entries = data.get("shot", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        mistakes.append(Mistake(("shot",), "every shot begins with [[shot]], in two pairs of brackets."))
        return []
    if not entries:
        text = f"lists no shots. Add a [[shot]] for each, or run: lensbench session {as_argument(folder)}"
        mistakes.append(Mistake((), text))
    shots = [check_table(entry, SHOT_KEYS, ("shot", place), mistakes) for place, entry in enumerate(entries)]
    seen: dict[Path, int] = {}
    for place, (entry, shot) in enumerate(zip(entries, shots, strict=True)):
        mistakes += _wrong_as_a_whole(entry, shot, place, folder)
        if "file" in shot:
            path = (folder / shot["file"]).resolve()
            if path in seen:
                text = f"{shot['file']} is listed twice (it is also shot {seen[path] + 1}). Take one of them out."
                mistakes.append(Mistake(("shot", place, "file"), text))
            seen.setdefault(path, place)
    return shots


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
        if path.is_dir():
            found.append(Mistake((*at, "file"), f"{shot['file']} is a folder, not a picture."))
        elif not path.is_file():
            found.append(
                Mistake((*at, "file"), f"there is no file {shot['file']} in {folder}{nearest_file(path)}")
            )
    return found


def _check_layout(
    data: dict[str, Any],
    target: dict[str, Any],
    shots: list[dict[str, Any]],
    folder: Path,
    mistakes: list[Mistake],
) -> None:
    """A session with shots of the target needs the target's own file."""
    path = folder / target.get("layout", TargetEntry().layout)
    if any(shot.get("shows") == "target" for shot in shots) and not path.is_file():
        key = ("target", "layout") if "layout" in target else ("target",) if "target" in data else ()
        text = (
            f"there is no {path.name} in {path.parent}, which says where the target's corners lie. Copy the one "
        )
        mistakes.append(Mistake(key, text + "that came with your printed target into it."))


def _in_words(path: Path, text: str, mistakes: list[Mistake]) -> list[str]:
    """A sentence a mistake, in the file's order."""
    placed = sorted(((line_of(text, m.key) if m.key else None) or 0, m.text) for m in mistakes)
    return [f"{path}, line {line}: {said}" if line else f"{path}: {said}" for line, said in placed]
