"""The whole run: session in, report out, several shots at once."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path

import joblib

from lensbench import __version__
from lensbench.analysers.falloff import beside_cos4
from lensbench.errors import BenchError
from lensbench.findings import Camera, Geometry, Notice, Report, Setting, Verdict
from lensbench.frame import pixel_pitch_um, sensor_misfit
from lensbench.loaders.session import Session, ShotEntry, refuse_odd_rulers
from lensbench.loaders.session_keys import SHOWS
from lensbench.run.readings import (
    Outcome,
    Readings,
    ShotFacts,
    TargetReading,
    read_blade,
    read_dark,
    read_flats,
    read_target,
)
from lensbench.run.settings import Taken, make_settings
from lensbench.target.layout import read_layout
from lensbench.verdicts.aperture import judge_aperture
from lensbench.verdicts.assembly import judge_assembly
from lensbench.verdicts.dirt import place_dirt
from lensbench.verdicts.focus import single_shot_notices
from lensbench.verdicts.repeats import judge_repeats

Progress = Callable[[int, int, str], None]
"""Called with the pieces of work done, all of them, and what was just done."""

BYTES_A_SHOT = 1_000_000_000
"""Memory that one 24-megapixel shot may need while it is measured: six float32 frames, and the imports."""


def measure_session(session: Session, progress: Progress | None = None, workers: int | None = None) -> Report:
    """Measure everything that a session's shots show.

    Parameters
    ----------
    session : Session
        As `load_session` gives it. The shots are only read.
    progress : callable, optional
        Told of every piece of work done.
    workers : int, optional
        How many shots are measured at once; otherwise as many as cores and memory allow.

    Returns
    -------
    Report
        A shot that can't be used is left out and named in `warnings`.

    Raises
    ------
    BenchError
        Where nothing could be measured, with the reason of each shot.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import numpy as np
    >>> from lensbench import Exposure, Shot, load_session, measure_session
    >>> from lensbench.dng import write_dng
    >>> from lensbench.loaders import start_session
    >>> folder = Path(tempfile.mkdtemp())
    >>> light = np.random.default_rng(1).poisson(np.full((200, 300), 9000.0))
    >>> flat = Shot.from_array(light, white=16000, exposure=Exposure(f_number=5.6))
    >>> write_dng(folder / "w_056.dng", flat)
    >>> _ = start_session(folder)  # writes session.toml, as the command `lensbench session` does
    >>> report = measure_session(load_session(folder), workers=1)
    >>> report.settings[0].label, report.settings[0].falloff.covers_frame
    ('f/5.6', True)
    >>> columns = report.settings[0].falloff.columns("zones")
    >>> columns["zone"].tolist()[0], bool(abs(columns["stops"][0]) < 0.01)
    ('centre', True)
    """
    outcomes = _outcomes(session, progress or (lambda done, total, what: None), workers)
    readings = Readings.of(outcome.reading for outcome in outcomes if outcome.reading is not None)
    notices = [notice for outcome in outcomes for notice in outcome.notices]
    readings, size_notices = readings.of_one_size()
    # Nothing else that such a shot showed matters.
    odd = {notice.shot for notice in size_notices}
    notices = [*(notice for notice in notices if notice.shot not in odd), *size_notices]
    facts = [reading.facts for reading in readings]
    if not facts:
        reasons = "\n".join(f"  {notice.text}" for notice in notices)
        raise BenchError(f"{session.folder}: nothing could be measured.\n{reasons}")
    camera, sensor_notices = _camera(session, facts)
    settings, more = make_settings(session, camera, readings)
    notices += [*sensor_notices, *more, *single_shot_notices(settings), *_session_notices(session, facts)]
    notices += _unused_darks(session, readings, {notice.shot for notice in notices if notice.code == "left-out"})
    geometry = _main_geometry(settings, readings.targets)
    _set_beside_cos4(settings, geometry, camera)
    return Report(
        build=session.build,
        camera=camera,
        warnings=notices,
        settings=settings,
        geometry=geometry,
        repeats=judge_repeats(settings),
        verdict=Verdict(
            aperture=judge_aperture(settings, camera.size_px),
            assembly=judge_assembly(settings, camera),
            dirt=place_dirt(settings, camera, _exit_pupil_mm(session, geometry), session.lens.pupil_ratio),
        ),
        made_by=f"lensbench {__version__}",
        session=session.folder.resolve().name,
        shots=[digest for outcome in outcomes for digest in outcome.digests],
    )


def _exit_pupil_mm(session: Session, geometry: Geometry | None) -> float | None:
    """How far before the sensor the exit pupil lies, where the shots show it."""
    distance = geometry.view.image_distance_mm if geometry and geometry.view else None
    return distance.value * session.lens.pupil_ratio if distance else None


# -- the work, several shots at once --------------------------------------------------------------------------


def _outcomes(session: Session, progress: Progress, workers: int | None) -> list[Outcome]:
    """Everything that the shots show, in the session's order."""
    work = _work(session)
    workers = min(workers or _room_for(), max(len(work), 1))
    threads = max(joblib.cpu_count() // workers, 1)
    jobs = (joblib.delayed(_numbered)(place, step, threads) for place, (_, step) in enumerate(work))
    results: dict[int, Outcome] = {}
    progress(0, len(work), "")
    finished = joblib.Parallel(n_jobs=workers, return_as="generator_unordered")(jobs)
    for done, (place, result) in enumerate(finished, start=1):
        results[place] = result
        progress(done, len(work), work[place][0])
    return [results[place] for place in range(len(work))]


def _work(session: Session) -> list[tuple[str, tuple]]:
    """The pieces of work: a name to show, and a function with its arguments, threads apart."""
    # Absolute, since processes that share the work may have another working folder.
    folder = session.folder.absolute()
    by_kind = {kind: [entry for entry in session.shots if entry.shows == kind] for kind in SHOWS}
    layout = read_layout(session.folder / session.target.layout) if by_kind["target"] else None
    if layout is not None:
        refuse_odd_rulers(session, layout.rulers_mm)
    work: list[tuple[str, tuple]] = [
        (entry.file, (read_target, folder, entry, layout, by_kind["dark"])) for entry in by_kind["target"]
    ]
    work += [(entry.file, (read_blade, folder, entry)) for entry in by_kind["blade"]]
    work += [(entry.file, (read_dark, folder, entry)) for entry in by_kind["dark"]]
    groups: dict[Taken, list[ShotEntry]] = {}
    for entry in by_kind["flat"]:
        groups.setdefault(Taken.of(entry), []).append(entry)
    work += [
        (group[0].file, (_one_group, folder, session.camera.sensor_mm, group, by_kind["dark"]))
        for group in groups.values()
    ]
    return work


def _numbered(place: int, step: tuple, threads: int) -> tuple[int, Outcome]:
    function, *arguments = step
    return place, function(*arguments, threads)


def _one_group(
    folder: Path, sensor_mm: tuple[float, float] | None, entries: list[ShotEntry], darks: list[ShotEntry], _: int
) -> Outcome:
    return read_flats(folder, entries, darks, sensor_mm)


def _room_for() -> int:
    """How many shots at once the cores and the free memory allow."""
    try:
        free = os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (ValueError, OSError, AttributeError):
        free = 4 * BYTES_A_SHOT
    return max(min(joblib.cpu_count(), int(free // BYTES_A_SHOT)), 1)


# -- putting it together --------------------------------------------------------------------------------------


def _camera(session: Session, facts: Sequence[ShotFacts]) -> tuple[Camera, list[Notice]]:
    """The camera, its sensor unknown where what the session file says can't be this picture's."""
    size, sensor = facts[0].size, session.camera.sensor_mm
    model = next((fact.camera for fact in facts if fact.camera), None)
    misfit = sensor_misfit(size, sensor) if sensor else None
    if misfit:
        text = f"session.toml: {misfit} Until then all sizes on the sensor are in pixels."
        return Camera(size, model=model), [Notice("sensor", None, text)]
    return Camera(size, sensor, pixel_pitch_um(size, sensor), model), []


def _main_geometry(settings: list[Setting], targets: list[TargetReading]) -> Geometry | None:
    """The geometry of the setting with the sharpest shot."""
    if not targets:
        return None
    sharpest = max(targets, key=lambda reading: reading.mtf50).entry.file
    return next(setting.geometry for setting in settings if sharpest in setting.shots)


def _set_beside_cos4(settings: list[Setting], geometry: Geometry | None, camera: Camera) -> None:
    """Put the cos⁴ law beside every falloff, where the field angle was measured."""
    if geometry is None or geometry.view is None:
        return
    for setting in settings:
        if setting.falloff:
            profile, distance = setting.falloff.profile, geometry.view.image_distance_px
            setting.falloff.profile = beside_cos4(profile, distance, camera.size_px)


def _unused_darks(session: Session, readings: Readings, left_out: set[str]) -> list[Notice]:
    """The dark frames that were exposed like no flat and no target."""
    used = {name for reading in (*readings.targets, *readings.flats) for name in reading.darks}
    idle = [e.file for e in session.shots if e.shows == "dark" and e.file not in used and e.file not in left_out]
    text = "was exposed like no flat and no target here, so it is taken off none. Use their shutter time and ISO."
    return [Notice("dark-unused", name, f"{name}: {text}") for name in idle]


def _session_notices(session: Session, facts: Sequence[ShotFacts]) -> list[Notice]:
    """What concerns the session as a whole."""
    notices = []
    nameless = [e.file for e in session.shots if e.shows != "dark" and e.f_number is None and e.aperture is None]
    if nameless:
        text = f"{len(nameless)} of {len(session.shots)} shots have no aperture ({nameless[0]} for one). Add "
        how = 'f_number = … or aperture = "third click" to them in session.toml.'
        notices.append(Notice("aperture", None, text + how))
    turned = {fact.orientation for fact in facts} - {1}
    if turned:
        text = (
            "The camera recorded that it was held turned. Left, right, top and bottom are those of the picture as "
        )
        notices.append(Notice("orientation", None, f"{text}stored, before a viewer turns it."))
    return notices
