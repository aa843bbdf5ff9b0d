"""Pictures corrected, several at once: each read, corrected and written whole, whatever befalls the others."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import joblib
import msgspec
import numpy as np
from numpy.typing import NDArray

from lensbench import __version__
from lensbench.correction._choice import Taken
from lensbench.correction._dng_copy import dng_bytes
from lensbench.correction._gains import Gains
from lensbench.correction._hot_pixels import find_hot_pixels
from lensbench.correction._listing import read_listing, taken_of
from lensbench.correction._made import USUAL, Made, check_fits, make_recipe
from lensbench.correction._picture_opcodes import make_opcodes
from lensbench.correction._planes import corrected_planes
from lensbench.correction._proof import Proof, as_shot, prove
from lensbench.correction._record import Record, is_as_written, sealed
from lensbench.correction._source import Source, read_source
from lensbench.correction._tiff_copy import screen_colours, tiff_copy_bytes
from lensbench.correction._warp import Warp
from lensbench.errors import BenchError
from lensbench.files import write_new, written_whole
from lensbench.findings import Report, read_report
from lensbench.target.layout import read_layout
from lensbench.workers import in_processes

COPIES = {"dng": "{}.dng", "linear": "{}-linear.tif", "display": "{}.tif"}
"""The kinds of copies, and what each is called after its original."""

SOFTWARE = f"lensbench {__version__}"

BYTES_A_PIXEL = {"dng": 18, "tiff": 60}
"""Memory that a picture needs at its peak; tests/bench/correction.py measures it."""

_BYTES_AT_LEAST = 300_000_000

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Wanted:
    """What is wanted of a batch.

    Attributes
    ----------
    out : Path
        The folder of the copies.
    copies : tuple of str
        Of `COPIES`.
    kinds : tuple of str
        What to take out.
    taken : Taken
        How all pictures were taken; what it leaves open their folder's listing may say.
    darks : tuple of Path
        Dark frames that show the hot pixels.
    keep_gps : bool
        Whether the copies say where the picture was taken.
    replace : bool
        Whether earlier copies that are as they were written are replaced.
    prove : bool
        Whether shots of the bench are measured before and after.
    """

    out: Path
    copies: tuple[str, ...] = ("dng",)
    kinds: tuple[str, ...] = USUAL
    taken: Taken = field(default_factory=Taken)
    darks: tuple[Path, ...] = ()
    keep_gps: bool = False
    replace: bool = False
    prove: bool = False


@dataclass(frozen=True)
class Corrected:
    """What became of one picture: its copies and what is to be known of them, or why there are none."""

    picture: Path
    written: tuple[Path, ...] = ()
    done: tuple[str, ...] = ()
    caveats: tuple[str, ...] = ()
    error: str | None = None
    proof: Proof | None = None


@dataclass(frozen=True, eq=False)
class _Job:
    """One picture's work; the report comes with it, decoded once.

    Both paths are absolute, since processes that share the work may have another working folder.
    """

    picture: Path
    folder: Path
    taken: Taken
    report: Report
    report_name: str
    report_sha256: str
    hot: NDArray[np.int64]
    wanted: Wanted


def correct_pictures(
    report_path: Path,
    pictures: Sequence[Path],
    wanted: Wanted,
    progress: Progress | None = None,
    workers: int | None = None,
) -> list[Corrected]:
    """Correct pictures by a report.

    Parameters
    ----------
    report_path : Path
        A report.json, or the folder that it lies in.
    pictures : sequence of Path
        Raw pictures; a folder stands for all that its `pictures.toml` lists. They are only read.
    wanted : Wanted
    progress : callable, optional
        Told of every picture done.
    workers : int, optional
        How many are corrected at once; as many as cores and free memory allow unless given.

    Returns
    -------
    list of Corrected
        In the order of the pictures; one that can't be corrected says why.

    Raises
    ------
    BenchError
        Where the report can't be read, copies would get the same name, or dark frames don't fit.
    """
    report_path = report_path / "report.json" if report_path.is_dir() else report_path
    report = read_report(report_path)
    digest = hashlib.sha256(report_path.read_bytes()).hexdigest()
    named = _named(pictures)
    _refuse_same_names([path for path, _ in named])
    hot = find_hot_pixels(wanted.darks, report.camera.size_px)
    folder = wanted.out.absolute()
    jobs = [
        _Job(
            path.absolute(),
            folder,
            taken_of(path, wanted.taken, held),
            report,
            report.build.name,
            digest,
            hot,
            wanted,
        )
        for path, held in named
    ]
    progress = progress or (lambda done, total, what: None)
    workers = min(workers or _room_for(report.camera.size_px, wanted), max(len(jobs), 1))
    results: dict[int, Corrected] = {}
    progress(0, len(jobs), "")
    steps = (joblib.delayed(_numbered)(number, job) for number, job in enumerate(jobs))
    for number, result in in_processes(steps, workers):
        results[number] = result
        progress(len(results), len(jobs), result.picture.name)
    return [results[number] for number in range(len(jobs))]


def _named(pictures: Sequence[Path]) -> list[tuple[Path, dict[str, Taken]]]:
    """The pictures, folders replaced by what their listings name, each with its folder's listing."""
    listings: dict[Path, dict[str, Taken]] = {}
    named = []
    for path in pictures:
        folder = path if path.is_dir() else path.parent
        listed = listings.setdefault(folder, read_listing(folder))
        if path.is_dir() and not listed:
            raise BenchError(
                f"{path}: is a folder without pictures in a pictures.toml. Name the pictures' own files."
            )
        named += [(folder / name, listed) for name in listed] if path.is_dir() else [(path, listed)]
    return named


def _refuse_same_names(pictures: Sequence[Path]) -> None:
    stem, count = Counter(path.stem.lower() for path in pictures).most_common(1)[0] if pictures else ("", 0)
    if count > 1:
        raise BenchError(
            f"{count} of the pictures are called {stem}, and so would their copies be. Correct them one by one, "
            "with an --out of their own."
        )


def _room_for(size: tuple[int, int], wanted: Wanted) -> int:
    """How many pictures at once the cores and the free memory allow."""
    kind = "dng" if wanted.copies == ("dng",) and not wanted.prove else "tiff"
    need = max(BYTES_A_PIXEL[kind] * size[0] * size[1], _BYTES_AT_LEAST)
    try:
        free = os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (ValueError, OSError, AttributeError):
        free = 2 * need
    return max(min(joblib.cpu_count(), int(free // need)), 1)


def _numbered(number: int, job: _Job) -> tuple[int, Corrected]:
    try:
        return number, _corrected(job)
    except BenchError as error:
        return number, Corrected(job.picture, error=str(error))


# -- one picture ----------------------------------------------------------------------------------------------


def _corrected(job: _Job) -> Corrected:
    wanted = job.wanted
    places = {kind: job.folder / COPIES[kind].format(job.picture.stem) for kind in wanted.copies}
    for place in places.values():
        _refuse_in_the_way(place, wanted.replace)
    source = read_source(job.picture, wanted.keep_gps)
    check_fits(job.report, source.shot)
    made = make_recipe(job.report, job.taken, wanted.kinds)
    gains, warp = Gains(made.recipe, source.shot.channels), Warp(made.recipe, _moving(source))
    caveats = [*made.caveats, *source.caveats, *_said_of(gains)]
    planes = None
    if wanted.prove or set(wanted.copies) - {"dng"}:
        planes = corrected_planes(source.shot, gains, warp, job.hot, source.balance, source.clips_at)
    if "dng" in places:
        opcodes = make_opcodes(source.shot, gains, warp, job.hot)
        text = _description(job, source, made, [*caveats, *opcodes.caveats], gains.exposure_stops)
        _write(places["dng"], dng_bytes(source, opcodes, gains.exposure_stops, text, SOFTWARE), wanted.replace)
        caveats += opcodes.caveats
    proof = _proved(job, source, planes) if wanted.prove and planes is not None else None
    if planes is not None and set(places) - {"dng"}:
        light = screen_colours(planes, source.to_srgb)
        text = _description(job, source, made, caveats, gains.exposure_stops)
        for kind in set(places) - {"dng"}:
            content = tiff_copy_bytes(light, source, kind == "linear", text, SOFTWARE)
            _write(places[kind], content, wanted.replace)
    written = tuple(wanted.out / place.name for place in places.values())
    return Corrected(job.picture, written, made.done, tuple(caveats), None, proof)


def _moving(source: Source) -> tuple[str, ...]:
    """The colours that a warp moves: all three also where LibRaw makes them from a mosaic that lacks one."""
    return ("grey",) if source.shot.colours == ("grey",) else ("red", "green", "blue")


def _said_of(gains: Gains) -> list[str]:
    part = gains.capped_part()
    return (
        [f"{100 * part:.1f} % of the frame lacks more light than is given back, and stays darker."] if part else []
    )


def _proved(job: _Job, source: Source, planes: NDArray[np.float32]) -> Proof:
    target = job.picture.parent / "target.json"
    layout = read_layout(target) if target.exists() else None
    return prove(source.shot, as_shot(job.picture.name, planes, source.shot), layout)


def _description(job: _Job, source: Source, made: Made, caveats: list[str], exposure_stops: float) -> str:
    record = Record(
        done=list(made.done),
        caveats=list(caveats),
        report=job.report_name,
        report_sha256=job.report_sha256,
        original=job.picture.name,
        original_sha256=source.shot.digest(),
        f_number=job.taken.f_number,
        aperture=job.taken.aperture,
        magnification=job.taken.magnification,
        exposure_stops=exposure_stops,
        made_by=SOFTWARE,
    )
    return msgspec.json.encode(record).decode()


def _refuse_in_the_way(path: Path, replace: bool) -> None:
    if not os.path.lexists(path):
        return
    if not is_as_written(path):
        raise BenchError(
            f"{path}: is there already, and no corrected copy as lensbench wrote it. It stays: name another --out."
        )
    if not replace:
        raise BenchError(f"{path}: is there already. Give --replace to correct it anew, or name another --out.")


def _write(path: Path, content: bytes, replace: bool) -> None:
    """Write a copy, whole or not at all, over nothing but an earlier copy where that is wanted."""
    content = sealed(content)
    if not os.path.lexists(path):
        write_new({path: content}, "Name another --out.")
        return
    with written_whole(path) as temporary:
        temporary.write_bytes(content)
        # Somebody may have changed it since the first look.
        _refuse_in_the_way(path, replace)
