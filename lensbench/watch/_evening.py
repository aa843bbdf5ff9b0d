"""An evening's shots judged before it is over: which are to be taken again, and what none of them can answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import msgspec
from msgspec import structs

from lensbench.errors import BenchError
from lensbench.expected import expected_of_files
from lensbench.formatting import aperture_name, number
from lensbench.loaders.guessing import why_no_darkness
from lensbench.loaders.session import session_file
from lensbench.loaders.session_checks import check_session
from lensbench.loaders.session_keys import ShotEntry
from lensbench.loaders.session_start import shot_files
from lensbench.loaders.shot_file import read_shot
from lensbench.watch._bench import Bench, bench_of
from lensbench.watch._history import Seen, change_since_best
from lensbench.watch._look import look_at
from lensbench.watch._looks import SPOTS, Look, Problem
from lensbench.watch._open import OpenQuestion, open_questions
from lensbench.watch._words import SHOWS

SOFTER = 10.0
"""A shot whose centre is softer by more percent than the sharpest one taken alike was out of focus or moved: with
care, shots of one focusing agree within a few percent (common practice)."""

S_PER_MB = 0.06
"""What a look at a megabyte of a raw file takes (measured on uncompressed files of 24 megapixels)."""

Progress = Callable[[int, int, str], None]


class Evening(msgspec.Struct, frozen=True):
    """The looks at an evening's shots, in the session file's order, and what they leave open."""

    looks: list[Look]
    open: list[OpenQuestion]


def judge_evening(folder: Path, progress: Progress | None = None) -> Evening:
    """Look at every shot that a folder's session file lists, and say what they leave open.

    Parameters
    ----------
    folder : Path
        With its session file, which may be unfinished: shots that it says too little of are passed over.
    progress : callable, optional
        Told of every shot looked at.

    Raises
    ------
    BenchError
        Where there is no session file, or no TOML in it.
    """
    checked = check_session(folder, session_file(folder)).shots
    entries = [ShotEntry(**shot) for shot in checked if {"file", "shows"} <= shot.keys()]
    entries = [entry for entry in entries if (folder / entry.file).is_file()]
    bench = _bench(folder, entries)
    seen: list[Seen] = []
    for done, entry in enumerate(entries, 1):
        seen.append(_judged(folder, entry, bench))
        if progress:
            progress(done, len(entries), entry.file)
    looks = [_beside_its_like(n, entries, seen) for n in range(len(seen))]
    return Evening(looks, open_questions(entries, looks, bench.pupil_ratio))


def expected_s(folder: Path) -> dict[str, float]:
    """About how many seconds `judge_evening` will take for each shot of a folder, by its name."""
    return expected_of_files([folder / name for name in shot_files(folder)], S_PER_MB)


def _bench(folder: Path, entries: Sequence[ShotEntry]) -> Bench:
    """What is known of the bench; a session without targets needs no sheet."""
    try:
        return bench_of(folder)
    except BenchError:
        if any(entry.shows == "target" for entry in entries):
            raise
        return Bench()


def _judged(folder: Path, entry: ShotEntry, bench: Bench) -> Seen:
    if entry.shows == "dark":
        return Seen(_dark_look(folder, entry), {})
    one = look_at(folder / entry.file, replace(bench, encoding=entry.encoding))
    look = structs.replace(one.look, f_number=entry.f_number)
    if look.error is not None:
        return Seen(look, {})
    if entry.shows == "blade":
        # What else it shows is for `edges` to judge; light it shares with the others.
        problems = [problem for problem in look.problems if problem.code == "clipped"]
        return Seen(structs.replace(look, shows="blade", problems=problems, notes=[]), {})
    if look.shows not in (None, entry.shows):
        said = f'shows {SHOWS[look.shows]}: mend shows = "{look.shows}" in session.toml.'
        return Seen(structs.replace(look, problems=[Problem("listed-wrongly", said)]), {})
    if entry.rail_mm is not None:
        # Along a rail most shots are out of focus, and some of them far: that is what it is for.
        focus = ("blurred", "unmeasurable", "tiles-missed")
        look = structs.replace(look, problems=[p for p in look.problems if p.code not in focus])
    return Seen(look, one.edges)


def _dark_look(folder: Path, entry: ShotEntry) -> Look:
    try:
        why = why_no_darkness(read_shot(folder / entry.file, entry.encoding))
    except BenchError as error:
        return Look(entry.file, error=str(error))
    problems = [Problem("not-dark", f"{why} Take it with the cap on.")] if why else []
    return Look(entry.file, shows="dark", problems=problems)


def _beside_its_like(place: int, entries: Sequence[ShotEntry], seen: Sequence[Seen]) -> Look:
    """A look with one more problem where a shot taken alike is clearly sharper."""
    entry, own = entries[place], seen[place]
    told = entry.f_number is not None or entry.aperture is not None
    if not own.edges or entry.rail_mm is not None or not told:
        return own.look
    alike = [
        other
        for one, other in zip(entries, seen, strict=True)
        if other is not own
        and other.edges
        and one.rail_mm is None
        and _configuration(one) == _configuration(entry)
    ]
    change = change_since_best(alike, own)
    centre = change.percent.get(SPOTS[0]) if change else None
    if change is None or centre is None or centre.high > -SOFTER:
        return own.look
    text = (
        f"the centre is {number(-centre.value, 0)} % softer than in {change.shot}, taken alike at "
        f"{aperture_name(entry.f_number, entry.aperture)}. Leave this one out, or shoot it again."
    )
    return structs.replace(own.look, problems=[*own.look.problems, Problem("softer-than-its-like", text)])


def _configuration(entry: ShotEntry) -> tuple[object, ...]:
    return entry.f_number, entry.aperture, entry.lens_turn_deg, entry.setup
