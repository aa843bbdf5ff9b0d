"""A folder and its session file to a Session: which shot shows what, taken how."""

from __future__ import annotations

from pathlib import Path

import msgspec

from lensbench.findings import Build

SESSION_FILE = "session.toml"


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
    encoding: str | None = None


class Session(msgspec.Struct, frozen=True):
    """The shots of one bench evening, in one folder."""

    folder: Path
    build: Build
    camera: CameraEntry
    lens: LensEntry
    target: TargetEntry
    shots: list[ShotEntry]
