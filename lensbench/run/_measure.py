"""The whole run: session in, report out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from msgspec.structs import replace

from lensbench import __version__
from lensbench.errors import BenchError
from lensbench.findings import Camera, Geometry, Notice, Report, Verdict
from lensbench.formatting import name_of_folder
from lensbench.frame import pixel_pitch_um
from lensbench.loaders.goals import Goals
from lensbench.loaders.session import Session, refuse_odd_rulers
from lensbench.reporter.tile_view import TileView
from lensbench.run._linearity import judge_linearity
from lensbench.run._loading import ShotFacts
from lensbench.run._noise_warnings import linearity_notices
from lensbench.run._print_warnings import print_notices
from lensbench.run._readings import Outcome, Readings
from lensbench.run._same_pictures import refuse_same_pictures
from lensbench.run._session_warnings import (
    dark_notices,
    layout_notices,
    ruler_notices,
    sensor_notices,
    session_notices,
)
from lensbench.run._settings import Given, join_settings
from lensbench.run._work import Progress, read_session
from lensbench.target.layout import Layout, read_layout
from lensbench.verdicts.aperture import judge_aperture, judge_series
from lensbench.verdicts.assembly import judge_assembly
from lensbench.verdicts.contradictions import find_contradictions
from lensbench.verdicts.dirt import place_dirt
from lensbench.verdicts.focus import single_shot_notices
from lensbench.verdicts.goals import grade
from lensbench.verdicts.print_size import judge_print_size
from lensbench.verdicts.repeats import judge_repeats
from lensbench.verdicts.rings import missing_rings


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
    return measure_with_views(session, progress, workers).report


class Measured(NamedTuple):
    """A session's report, and pictures of its tiles, which no report holds."""

    report: Report
    views: list[TileView]


def measure_with_views(session: Session, progress: Progress | None = None, workers: int | None = None) -> Measured:
    """As `measure_session`, with the pictures of the target's tiles that the page shows beside their figures."""
    layout = _layout(session)
    outcomes = read_session(session, layout, progress or (lambda done, total, what: None), workers)
    outcomes = refuse_same_pictures(outcomes, session.shots)
    readings, notices = _usable(session, outcomes)
    facts = [reading.facts for reading in readings]
    camera, misfit = _camera(session, facts), sensor_notices(session.camera.sensor_mm, facts[0].size)
    settings, geometry, more = join_settings(Given(session, camera, layout), readings)
    found = find_contradictions(settings, readings.brightness, session.lens.pupil_ratio)
    settings, dirt = place_dirt(
        found.settings, camera, _exit_pupil_mm(session, geometry), session.lens.pupil_ratio
    )
    linearity = judge_linearity(readings)
    # What can't be is said first: the rest may hang on it.
    notices = [
        *found.notices,
        *linearity_notices(linearity),
        *notices,
        *layout_notices(layout),
        *ruler_notices(session, layout),
        *misfit,
        *more,
        *print_notices(settings),
        *single_shot_notices(settings),
        *session_notices(session, facts),
    ]
    left_out = {notice.shot for notice in notices if notice.code == "left-out"}
    sure = [replace(one, sharpness=None) if n in found.doubtful else one for n, one in enumerate(settings)]
    rankings = judge_aperture(sure, camera.size_px)
    report = Report(
        build=session.build,
        camera=camera,
        warnings=[*notices, *dark_notices(session.shots, readings, left_out)],
        settings=settings,
        geometry=geometry,
        repeats=judge_repeats(settings),
        verdict=Verdict(
            aperture=rankings,
            prints=judge_print_size(settings, rankings, camera),
            assembly=judge_assembly(settings, camera, session.lens.flange_width_mm, session.lens.pupil_ratio),
            dirt=dirt,
            series=judge_series(settings, camera.size_px, camera.pixel_pitch_um, session.lens.pupil_ratio),
            rings=missing_rings(geometry, session.goals.wanted),
        ),
        linearity=linearity,
        made_by=f"lensbench {__version__}",
        session=name_of_folder(session.folder),
        shots=[digest for outcome in outcomes for digest in outcome.digests],
    )
    views = [view for reading in readings.targets for view in reading.views]
    return Measured(_graded(report, session.goals), views)


def _graded(report: Report, goals: Goals) -> Report:
    """The report with the goals of the session file graded, if there are any."""
    if not goals.wanted or report.verdict is None:
        return report
    grades = grade(report, goals.wanted, goals.f_number, goals.aperture)
    return replace(report, verdict=replace(report.verdict, goals=grades))


def _layout(session: Session) -> Layout | None:
    """The target's layout; None in a session without shots of it."""
    if not any(entry.shows == "target" for entry in session.shots):
        return None
    layout = read_layout(session.folder / session.target.layout)
    refuse_odd_rulers(session, layout.rulers_mm)
    return layout


def _usable(session: Session, outcomes: Sequence[Outcome]) -> tuple[Readings, list[Notice]]:
    """The readings of one frame size, and what the user should know of all shots."""
    every = Readings.of(outcome.reading for outcome in outcomes if outcome.reading is not None)
    readings, size_notices = every.of_one_size()
    # Nothing else that such a shot showed matters.
    odd = {notice.shot for notice in size_notices}
    said = [notice for outcome in outcomes for notice in outcome.notices]
    notices = [*(notice for notice in said if notice.shot not in odd), *size_notices]
    if not list(readings):
        reasons = "\n".join(f"  {notice.text}" for notice in notices)
        raise BenchError(f"{session.folder}: nothing could be measured.\n{reasons}")
    return readings, notices


def _camera(session: Session, facts: Sequence[ShotFacts]) -> Camera:
    """The camera, its sensor unknown where what the session file says can't be this picture's."""
    size, sensor = facts[0].size, session.camera.sensor_mm
    model = next((fact.camera for fact in facts if fact.camera), None)
    pitch = pixel_pitch_um(size, sensor)
    return Camera(size, sensor if pitch is not None else None, pitch, model)


def _exit_pupil_mm(session: Session, geometry: Geometry | None) -> float | None:
    """Distance from the sensor to the exit pupil, where the shots show it."""
    distance = geometry.view.image_distance_mm if geometry and geometry.view else None
    return distance.value * session.lens.pupil_ratio if distance else None
