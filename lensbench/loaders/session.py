"""A folder and its session file to a Session: which shot shows what, taken how."""

from __future__ import annotations

from pathlib import Path

import msgspec

from lensbench.errors import BenchError
from lensbench.findings import Build
from lensbench.formatting import as_argument, name_of_folder
from lensbench.loaders.goals import Goals
from lensbench.loaders.opening import nearest_name
from lensbench.loaders.session_checks import check_session
from lensbench.loaders.session_keys import CameraEntry, LensEntry, ShotEntry, TargetEntry
from lensbench.loaders.toml_checks import as_written
from lensbench.loaders.toml_lines import line_of, read_toml

SESSION_FILE = "session.toml"

UNEVEN_PRINT = 0.05
"""No printer draws one way longer than the other by more than this share ..."""

MOST_SCALED = 2.0
"""... nor anything so many times as large, or as small."""


class Session(msgspec.Struct, frozen=True):
    """The shots of one bench evening, in one folder."""

    folder: Path
    build: Build
    camera: CameraEntry
    lens: LensEntry
    target: TargetEntry
    shots: list[ShotEntry]
    goals: Goals = Goals()


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
    tables, goals, shots, mistakes = check_session(folder, session_file(folder))
    if mistakes:
        raise BenchError("\n".join(mistakes))
    return Session(
        folder=folder,
        build=Build(**{"name": name_of_folder(folder), **tables["build"]}),
        camera=CameraEntry(**tables["camera"]),
        lens=LensEntry(**tables["lens"]),
        target=TargetEntry(**tables["target"]),
        shots=[ShotEntry(**shot) for shot in shots],
        goals=goals,
    )


def session_mistakes(folder: str | Path) -> list[str]:
    """What in a folder's session file has to be mended before it can be measured, a sentence each; maybe none.

    Raises
    ------
    BenchError
        Where the file isn't there, or no TOML.
    """
    return check_session(Path(folder), session_file(Path(folder))).mistakes


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
        f"{_likely_mistake(measured, drawn_mm)}Measure them again, in millimetres, the one that runs across first."
    )


def _likely_mistake(measured: tuple[float, float], drawn_mm: tuple[float, float]) -> str:
    """What the numbers look like, as a sentence; nothing where they look like nothing known."""
    across, up = (length / drawn for length, drawn in zip(measured, drawn_mm, strict=True))
    for unit, millimetres in (("centimetres", 10.0), ("inches", 25.4)):
        if all(abs(share * millimetres - 1) < UNEVEN_PRINT for share in (across, up)):
            return f"They look like {unit}. "
    if all(abs(a / b - 1) < UNEVEN_PRINT for a, b in zip(measured[::-1], drawn_mm, strict=True)):
        return "They look swapped. "
    right = [abs(share - 1) < UNEVEN_PRINT for share in (across, up)]
    if right == [True, False] or right == [False, True]:
        return f"The one that runs {'up' if right[0] else 'across'} looks misread. "
    return ""


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


def _nearest_folder(folder: Path) -> str:
    try:
        return nearest_name(folder.name, sorted(p.name for p in folder.parent.iterdir() if p.is_dir()))
    except OSError:
        return "."
