"""A whole session: shots as DNG files, the session file and the layout beside them, and the truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from joblib import Parallel, delayed

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.files import made_folder, write_text_whole
from lensbench.simulator.camera import Camera
from lensbench.simulator.flat_shot import FlatTruth, flat_shot
from lensbench.simulator.lens import Lens
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Scene
from lensbench.simulator.target_shot import TargetTruth, target_shot
from lensbench.target.layout import Layout, write_layout

FORMAT = "lensbench-truth/1"

Truth = TargetTruth | FlatTruth


@dataclass(frozen=True)
class Take:
    """One shot to be taken. A flat needs a panel; `panel_number`, `setup` and `rail_mm` go into the session file.

    `rail_mm` is what the rail's scale says; without it that of the scene is written down. `marked_f_number` is
    what the iris is marked with, where it opens to another one.
    """

    file: str
    shows: str
    f_number: float
    scene: Scene
    panel: Panel | None = None
    panel_number: int = 1
    setup: int = 1
    seed: int = 0
    rail_mm: float | None = None
    marked_f_number: float | None = None


@dataclass(frozen=True)
class Bench:
    """What stays the same through a session: the build, what is known of it, and the sheet.

    `date` and `goals`, the [goals] table, go into the session file.
    """

    name: str
    parts: tuple[str, ...]
    notes: str
    lens: Lens
    camera: Camera
    layout: Layout
    print_dpi: float | None = None
    date: str | None = None
    goals: Mapping[str, Any] = field(default_factory=dict)


def write_session(
    folder: str | Path,
    bench: Bench,
    takes: Sequence[Take],
    jobs: int = 1,
    progress: Callable[[str], None] | None = None,
) -> dict[str, Truth]:
    """Take all shots of a session and write it into a folder.

    Parameters
    ----------
    folder : path
        Gets the DNG files, ``session.toml``, ``target.json`` and ``truth.json``.
    jobs : int
        Processes that share the shots.
    progress : callable, optional
        Told each file's name when it is written.

    Returns
    -------
    dict of str to TargetTruth or FlatTruth
        By file name.

    Raises
    ------
    BenchError
        Where the folder holds anything already, or can't be written to.
    """
    # Absolute, since processes that share the work may have another working folder.
    folder = Path(folder).absolute()
    made_folder(folder)
    if any(folder.iterdir()):
        raise BenchError(f"{folder}: is not empty. Name a new folder for the simulated shots.")
    write_layout(folder / "target.json", bench.layout)
    truths: dict[str, Truth] = {}
    work = (delayed(_take)(folder, bench, take) for take in takes)
    for take, truth in zip(takes, Parallel(n_jobs=jobs, return_as="generator")(work), strict=True):
        truths[take.file] = truth
        if progress is not None:
            progress(take.file)
    write_text_whole(folder / "truth.json", truth_text(bench, takes, truths))
    # Last: a folder is a session once all its shots are there.
    write_text_whole(folder / "session.toml", session_text(bench, takes))
    return truths


def _take(folder: Path, bench: Bench, take: Take) -> Truth:
    truth: Truth
    if take.shows == "flat":
        shot, truth = flat_shot(
            bench.lens, bench.camera, take.panel or Panel(), take.scene, take.f_number, take.seed, take.file
        )
    else:
        shot, truth = target_shot(
            bench.lens, bench.camera, bench.layout, take.scene, take.f_number, take.seed, take.file
        )
    write_dng(folder / take.file, shot)
    return truth


def session_text(bench: Bench, takes: Sequence[Take]) -> str:
    """The session file, as somebody at the bench would have written it."""
    document = tomlkit.document()
    document["build"] = {"name": bench.name, "parts": list(bench.parts), "notes": bench.notes}
    if bench.date is not None:
        document["build"]["date"] = bench.date
    document["camera"] = {"sensor_mm": list(bench.camera.sensor_mm)}
    document["lens"] = {"pupil_ratio": bench.lens.pupil_ratio}
    target: dict[str, Any] = {"layout": "target.json"}
    scale = next((take.scene.print.scale for take in takes if take.shows == "target"), (1.0, 1.0))
    # A ruler is read to a tenth of a millimetre.
    measured = [round(length * s, 1) for length, s in zip(bench.layout.rulers_mm, scale, strict=True)]
    target["rulers_measured_mm"] = measured
    if bench.print_dpi is not None:
        target["print_dpi"] = bench.print_dpi
    document["target"] = target
    shots = tomlkit.aot()
    for take in takes:
        shots.append(tomlkit.item(_shot_entry(take, any(t.scene.rail_mm or t.rail_mm for t in takes))))
    document["shot"] = shots
    if bench.goals:
        document["goals"] = bench.goals
    return tomlkit.dumps(document)


def _shot_entry(take: Take, on_rail: bool) -> dict[str, Any]:
    marked = take.f_number if take.marked_f_number is None else take.marked_f_number
    entry: dict[str, Any] = {"file": take.file, "shows": take.shows, "f_number": marked}
    if on_rail and take.shows == "target":
        entry["rail_mm"] = take.scene.rail_mm if take.rail_mm is None else take.rail_mm
    if take.scene.lens_turn_deg:
        entry["lens_turn_deg"] = take.scene.lens_turn_deg
    if take.setup != 1:
        entry["setup"] = take.setup
    if take.panel_number != 1:
        entry["panel"] = take.panel_number
    return entry


def truth_text(bench: Bench, takes: Sequence[Take], truths: dict[str, Truth]) -> str:
    """The truth as JSON: the lens, the camera, and for every shot its scene and what would be measured."""
    shots = [
        {"file": take.file, "shows": take.shows, "f_number": take.f_number}
        | {"scene": _plain(take.scene), "panel": _plain(take.panel), "truth": _plain(truths[take.file])}
        for take in takes
    ]
    whole = {
        "format": FORMAT,
        "build": bench.name,
        "lens": _plain(bench.lens),
        "camera": _plain(bench.camera),
        "shots": shots,
    }
    return json.dumps(whole)


def _plain(value: Any) -> Any:
    """Numbers, lists and dicts for what the truth consists of; what is not a number becomes null."""
    if is_dataclass(value):
        return {item.name: _plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return round(value, 6) if np.isfinite(value) else None
    return value
