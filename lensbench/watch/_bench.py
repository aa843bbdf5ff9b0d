"""What is known of the bench besides the shots: the sheet, the sensor, the lens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from lensbench.errors import BenchError
from lensbench.loaders.session import SESSION_FILE
from lensbench.loaders.session_checks import check_session
from lensbench.target.layout import Layout, read_layout

TARGET_FILE = "target.json"


@dataclass(frozen=True, eq=False)
class Bench:
    """What a look at a shot takes as given.

    Attributes
    ----------
    layout : Layout or None
        The sheet; None where only lights are looked at.
    sensor_mm : (float, float) or None
        Width and height of the sensor.
    rulers_measured_mm : (float, float) or None
        The print's bars.
    pupil_ratio : float
        Exit pupil over entrance pupil.
    focal_mm : float or None
        The lens's focal length, which turns unequal sizes into degrees.
    encoding : str or None
        How TIFF files store light, where they don't say.
    f_numbers : mapping of str to float
        Those that the session file gives, by file name.
    """

    layout: Layout | None = None
    sensor_mm: tuple[float, float] | None = None
    rulers_measured_mm: tuple[float, float] | None = None
    pupil_ratio: float = 1.0
    focal_mm: float | None = None
    encoding: str | None = None
    f_numbers: Mapping[str, float] = field(default_factory=dict)


def bench_of(
    folder: Path,
    target: Path | None = None,
    sensor_mm: tuple[float, float] | None = None,
    focal_mm: float | None = None,
    encoding: str | None = None,
) -> Bench:
    """Gather what is known of a folder's bench; what is given goes before what its session file says.

    Parameters
    ----------
    folder : Path
        The folder with the shots; its session file may be missing or unfinished.
    target : Path, optional
        The sheet's `target.json`, where it isn't in the folder.
    sensor_mm, focal_mm, encoding : optional
        As in `Bench`.

    Raises
    ------
    BenchError
        Where no `target.json` is to be found, or it can't be read.
    """
    tables: dict[str, dict] = {}
    shots: list[dict] = []
    path = folder / SESSION_FILE
    if path.is_file():
        checked = check_session(folder, path)
        tables, shots = checked.tables, checked.shots
    sheet, lens, camera = (tables.get(name, {}) for name in ("target", "lens", "camera"))
    layout = target or folder / sheet.get("layout", TARGET_FILE)
    if target is None and not layout.exists():
        raise BenchError(
            f"{folder}: has no {layout.name}, which says where the tiles of the sheet lie. Copy there the one "
            "that was made with your print, or name it with --target."
        )
    rulers = sheet.get("rulers_measured_mm")
    return Bench(
        layout=read_layout(layout),
        # The sheet's own file says for which sensor it was made, not on which it is used.
        sensor_mm=sensor_mm or _pair(camera.get("sensor_mm")),
        rulers_measured_mm=_pair(rulers),
        pupil_ratio=lens.get("pupil_ratio", 1.0),
        focal_mm=focal_mm,
        encoding=encoding,
        f_numbers={shot["file"]: shot["f_number"] for shot in shots if {"file", "f_number"} <= shot.keys()},
    )


def _pair(sides: tuple[float, float] | None) -> tuple[float, float] | None:
    return None if sides is None else (float(sides[0]), float(sides[1]))
