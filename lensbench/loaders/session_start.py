"""A session file made from the shots that are in a folder, or brought up to date with them."""

from __future__ import annotations

import datetime
import stat
import tomllib
from collections.abc import Callable
from pathlib import Path

import msgspec
import tomlkit

from lensbench.errors import BenchError
from lensbench.expected import expected_of_files
from lensbench.files import write_new, written_whole
from lensbench.formatting import name_of_folder
from lensbench.loaders.encoding import EncodingUnknown
from lensbench.loaders.guessing import guess_shows
from lensbench.loaders.session import SESSION_FILE, check_folder, session_mistakes
from lensbench.loaders.shot_file import RAW_ENDINGS, read_shot
from lensbench.loaders.toml_checks import LONGEST_NAME
from lensbench.loaders.toml_lines import read_toml

PICTURE_ENDINGS = RAW_ENDINGS | {".tif", ".tiff", ".jpg", ".jpeg", ".png"}
"""How files end that are taken for shots."""

_NEW_FILE = """\
# What each shot of this bench evening shows. Lines that begin with # are notes, and examples to fill in:
# remove the # and put your own value.

[build]
name = {name}
date = "{date}"
# parts = ["front group", "brass tube"]
# notes = "what changed since the last build"

[camera]
# sensor_mm = {sensor}               # for figures in line pairs a millimetre and the magnification{made_for}

[lens]
# pupil_ratio = 1.0                      # the exit pupil's width over the entrance pupil's
# flange_width_mm = 52                   # the flange's width: how thick a shim has to be for an angle

[target]
layout = "target.json"
# rulers_measured_mm = {rulers}    # the printed ruler bars across and up, measured by hand{drawn}
# print_dpi = 600
# light_traps = [[7, 5]]                 # tiles cut out and backed with black, for the glare: column and row

# More lines that a [[shot]] may have, where they matter (the guide says what they tell):
# setup = 2             for everything shot again after refocusing and remounting
# rail_mm = 12.06       the rail's reading, for a series through focus
# lens_turn_deg = 90    the lens turned in its mount, anticlockwise as seen in the picture
# turned = "front group"    where it was not the whole lens that was turned by lens_turn_deg
# panel = 2             the even light moved to its second position
# panel_turn_deg = 180  the even light turned about the middle of the picture
# panel_shift = [0.3, 0.0]    how far it was moved to the right and down, as a share of the picture
"""


class SheetFigures(msgspec.Struct, frozen=True):
    """What the sheet's own file says that belongs into a session file: its frame, and its bars as drawn."""

    sensor_mm: tuple[float, float] | None
    rulers_mm: tuple[float, float]


class StartedShot(msgspec.Struct, frozen=True):
    """A shot put into the session file; `shows` is None where the user has to say."""

    file: str
    shows: str | None
    f_number: float | None


class Started(msgspec.Struct, frozen=True):
    """What was done to a session file.

    `known` counts the shots that were listed before; `missing` are listed but no longer there; `unreadable` are
    files that look like shots but can't be loaded, each with the reason. `mistakes` are sentences on what has to
    be mended in the file, or filled in, before it can be measured.
    """

    path: str
    new: bool
    added: list[StartedShot]
    known: int
    missing: list[str]
    unreadable: list[str]
    mistakes: list[str]


S_PER_MB = 0.02
"""What looking at a megabyte of a raw file takes (measured on uncompressed files of 24 megapixels)."""


def start_session(
    folder: str | Path,
    progress: Callable[[int, int, str], None] | None = None,
    sheet: SheetFigures | None = None,
) -> Started:
    """Make a folder's session file, or add the shots that it doesn't list yet; what stands in it is kept.

    Parameters
    ----------
    folder : path
        The folder with the shots. A JPEG beside a raw file of the same name is left out.
    progress : callable, optional
        Called with the files looked at, the files in all, and the name of the one just looked at.
    sheet : SheetFigures, optional
        Of the target's file, for a new session file.

    Returns
    -------
    Started
        What was added, and what the user has to look at.

    Raises
    ------
    BenchError
        If there is no such folder, no usable shot in it, or a session file that isn't as it should be.
    """
    folder = Path(folder)
    check_folder(folder)
    path = folder / SESSION_FILE
    new = not path.exists()
    listed = [] if new else _listed(path)
    before = None if new else path.read_bytes()
    fresh = [name for name in shot_files(folder) if name not in listed]
    if not fresh and not listed:
        raise BenchError(f"{folder}: holds no raw file, TIFF, JPEG or PNG. Copy the shots into it.")
    added, entries, unreadable = [], [], []
    for done, name in enumerate(fresh, start=1):
        try:
            shot, entry = _look_at(folder / name)
            added.append(shot)
            entries.append(entry)
        except BenchError as error:
            unreadable.append(str(error))
        if progress:
            progress(done, len(fresh), name)
    if new and not added:
        raise BenchError("\n".join([f"{folder}: none of its files can be used as a shot.", *unreadable]))
    if added:
        _add(path, before, (_new_text(folder, sheet) + "\n" if new else "") + "\n".join(entries))
    missing = [name for name in listed if not (folder / name).is_file()]
    return Started(str(path), new, added, len(listed), missing, unreadable, session_mistakes(folder))


def expected_s(folder: Path) -> dict[str, float]:
    """About how many seconds `start_session` will take for each file of a folder, by its name."""
    try:
        return expected_of_files([folder / name for name in shot_files(folder)], S_PER_MB)
    except OSError:
        return {}


def shot_files(folder: Path) -> list[str]:
    """The names of the files of a folder that look like shots, in order, one for each exposure."""
    files = sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in PICTURE_ENDINGS and not path.name.startswith(".") and path.is_file()
    )
    raw = {path.stem for path in files if path.suffix.lower() in RAW_ENDINGS}
    return [path.name for path in files if path.suffix.lower() in RAW_ENDINGS or path.stem not in raw]


def _new_text(folder: Path, sheet: SheetFigures | None) -> str:
    """The file's beginning; the sheet's figures stand in it as examples, since only the user can confirm them."""
    sensor, rulers, made_for, drawn = "[36.0, 24.0]", "[149.8, 150.1]", "", ""
    if sheet is not None:
        rulers, drawn = _pair(sheet.rulers_mm), " (so they were drawn)"
        if sheet.sensor_mm is not None:
            sensor, made_for = _pair(sheet.sensor_mm), " (the sheet was made for this one)"
    return _NEW_FILE.format(
        name=_quoted(name_of_folder(folder) or "bench"),
        date=datetime.date.today().isoformat(),
        sensor=sensor,
        made_for=made_for,
        rulers=rulers,
        drawn=drawn,
    )


def _pair(sides_mm: tuple[float, float]) -> str:
    return f"[{sides_mm[0]:.1f}, {sides_mm[1]:.1f}]"


def _quoted(text: str) -> str:
    return tomlkit.string(text).as_string()


def _listed(path: Path) -> list[str]:
    """The files that the session file lists already."""
    shots = read_toml(path)[0].get("shot", [])
    if not isinstance(shots, list) or not all(isinstance(shot, dict) for shot in shots):
        raise BenchError(f"{path}: every shot begins with [[shot]], in two pairs of brackets.")
    return [str(shot["file"]) for shot in shots if "file" in shot]


def _look_at(path: Path) -> tuple[StartedShot, str]:
    """What a shot seems to show, and its [[shot]], with what is still to be said as notes."""
    encoding_line = ""
    if not path.name.isprintable() or len(path.name) > LONGEST_NAME:
        raise BenchError(
            f"{path.name[:LONGEST_NAME]!r}: has a name that a session file can't hold. Rename it, with plain "
            "letters."
        )
    try:
        shot = read_shot(path)
    except EncodingUnknown:
        # What it shows can be guessed all the same.
        encoding_line = 'encoding = ""    # linear or srgb\n'
        shot = read_shot(path, encoding="srgb")
    shows = guess_shows(shot)
    f_number = shot.exposure.f_number
    aperture_line = "" if shows == "dark" else '# f_number = 5.6    # or aperture = "third click"\n'
    if f_number is not None:
        aperture_line = f"f_number = {f_number:.4g}\n"
    entry = (
        f"[[shot]]\nfile = {_quoted(path.name)}\n"
        f'shows = "{shows or ""}"    # {"guessed; can be " if shows else ""}target, flat, dark or blade\n'
        f"{aperture_line}{encoding_line}"
    )
    return StartedShot(path.name, shows, f_number), entry


def _add(path: Path, before: bytes | None, addition: str) -> None:
    """Begin the session file, or add to it; what stands there stays byte for byte.

    Parameters
    ----------
    before : bytes or None
        What the file held when it was read; None where there was none.
    """
    if before is None:
        write_new({path: addition.encode()}, "Start again, to add to it.")
        return
    if path.is_symlink():
        raise BenchError(f"{path}: is a link to another file, which is not written to. Put the file itself here.")
    if not path.stat().st_mode & stat.S_IWUSR:
        raise BenchError(f"{path}: is write-protected. Remove the protection to have shots added to it.")
    # The new lines end as those before, as the user's editor likes them.
    end = b"\r\n" if b"\r\n" in before else b"\n"
    after = before + (b"" if before.endswith(b"\n") else end) + end + addition.encode().replace(b"\n", end)
    try:
        tomllib.loads(after.decode("utf-8-sig").replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError:
        raise BenchError(
            f"{path}: lists its shots in a way that none can be added to. Give each a [[shot]] of its own."
        ) from None
    with written_whole(path) as temporary:
        temporary.write_bytes(after)
        if path.read_bytes() != before:
            raise BenchError(f"{path}: was changed meanwhile. Start again.")
