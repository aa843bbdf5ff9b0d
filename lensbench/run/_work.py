"""A session's shots read, several at once."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from typing import NamedTuple

import joblib

from lensbench.errors import TRACEBACK, fault_in_words
from lensbench.loaders.session import Session
from lensbench.loaders.session_keys import SHOWS, ShotEntry
from lensbench.run._configuration import ShotConfiguration
from lensbench.run._darks import MeanDark, read_darks
from lensbench.run._loading import left_out
from lensbench.run._read_edges import read_blade, read_target
from lensbench.run._read_flats import read_flats
from lensbench.run._readings import Outcome
from lensbench.target.layout import Layout
from lensbench.workers import in_a_process_of_its_own, in_processes

Progress = Callable[[int, int, str], object]
"""Called with the pieces of work done, all of them, and what was just done."""

BYTES_A_SHOT = 1_000_000_000
"""Memory set aside for each shot that is measured at once: of 24 megapixels, six frames of float32 (0.6 GB), which
is twice the bar that `tests/bench/speed.py` holds a shot to, and 0.3 GB for a process's imports."""


class _Piece(NamedTuple):
    """A piece of work: the files that it reads, the first of which is shown, and a function of the threads."""

    files: tuple[str, ...]
    work: Callable[[int], Outcome]

    @property
    def name(self) -> str:
        """What to show."""
        return self.files[0]


def read_session(
    session: Session, layout: Layout | None, progress: Progress, workers: int | None = None
) -> list[Outcome]:
    """Read everything that a session's shots show: dark frames first, since others need them.

    Parameters
    ----------
    session : Session
        The shots are only read.
    layout : Layout or None
        Of the target; None in a session without one.
    progress : callable
        Told of every piece of work done.
    workers : int, optional
        How many shots are measured at once; otherwise as many as cores and memory allow.

    Returns
    -------
    list of Outcome
        Targets, blades, dark frames, then flats, each in the session's order.
    """
    shots = {kind: [entry for entry in session.shots if entry.shows == kind] for kind in SHOWS}
    groups: dict[ShotConfiguration, list[ShotEntry]] = {}
    for entry in shots["flat"]:
        groups.setdefault(ShotConfiguration.of(entry), []).append(entry)
    total = len(shots["target"]) + len(shots["blade"]) + len(shots["dark"]) + len(groups)
    done: list[str] = []

    def tell(name: str) -> None:
        done.append(name)
        progress(len(done), total, name)

    progress(0, total, "")
    darks = read_darks(session.folder, shots["dark"], tell)
    edges = [*_targets(session, layout, shots["target"], darks.means), *_blades(session, shots["blade"])]
    outcomes = _in_parallel([*edges, *_flats(session, groups.values(), darks.means)], tell, workers)
    return [*outcomes[: len(edges)], Outcome(None, darks.notices, darks.digests), *outcomes[len(edges) :]]


def _targets(
    session: Session, layout: Layout | None, entries: Iterable[ShotEntry], darks: list[MeanDark]
) -> list[_Piece]:
    if layout is None:
        return []
    # Absolute, since processes that share the work may have another working folder.
    folder = session.folder.absolute()
    return [_Piece((entry.file,), partial(read_target, folder, entry, layout, darks)) for entry in entries]


def _blades(session: Session, entries: Iterable[ShotEntry]) -> list[_Piece]:
    return [_Piece((entry.file,), partial(read_blade, session.folder.absolute(), entry)) for entry in entries]


def _flats(session: Session, groups: Collection[list[ShotEntry]], darks: list[MeanDark]) -> list[_Piece]:
    folder, sensor_mm = session.folder.absolute(), session.camera.sensor_mm
    files = [tuple(entry.file for entry in group) for group in groups]
    works = [partial(_read_group, (folder, group, darks, sensor_mm)) for group in groups]
    return [_Piece(names, work) for names, work in zip(files, works, strict=True)]


def _read_group(arguments: tuple, threads: int) -> Outcome:
    """Flats are read on one thread: reading and block means are bound by memory."""
    return read_flats(*arguments)


def _in_parallel(pieces: list[_Piece], tell: Callable[[str], None], workers: int | None) -> list[Outcome]:
    """What the pieces of work give, in their order."""
    workers = min(workers or workers_at_once(), max(len(pieces), 1))
    threads = max(joblib.cpu_count() // workers, 1)
    jobs = (joblib.delayed(_numbered)(number, piece, threads) for number, piece in enumerate(pieces))
    outcomes: dict[int, Outcome] = {}
    try:
        for number, outcome in in_processes(jobs, workers):
            outcomes[number] = outcome
            tell(pieces[number].name)
    except BrokenProcessPool:
        # A process was killed, as by the system where memory ran out. Nobody knows with which shot: one by one.
        for number, piece in enumerate(pieces):
            if number not in outcomes:
                outcomes[number] = _alone(number, piece)
                tell(piece.name)
    return [outcomes[number] for number in range(len(pieces))]


def _alone(number: int, piece: _Piece) -> Outcome:
    """A piece of work in a process that has nothing else to do, and may be killed."""
    try:
        return in_a_process_of_its_own(_numbered, number, piece, joblib.cpu_count())[1]
    except BrokenProcessPool:
        why = "the process that measured it was killed, perhaps since memory ran out. Close other programs."
        return _left_out(piece, why)


def _numbered(number: int, piece: _Piece, threads: int) -> tuple[int, Outcome]:
    try:
        return number, piece.work(threads)
    except Exception as error:
        # Whatever went wrong with one shot is no reason to lose the others.
        if os.environ.get(TRACEBACK):
            raise
        return number, _left_out(piece, fault_in_words(error))


def _left_out(piece: _Piece, why: str) -> Outcome:
    return Outcome(None, [left_out(name, f"{name}: {why}") for name in piece.files], [])


def workers_at_once() -> int:
    """How many shots at once the cores and the free memory allow."""
    try:
        free = os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (ValueError, OSError, AttributeError):
        free = 4 * BYTES_A_SHOT
    return max(min(joblib.cpu_count(), int(free // BYTES_A_SHOT)), 1)
