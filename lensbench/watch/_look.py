"""One shot looked at: only the tiles that the figures need are measured, in one colour."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from msgspec import structs
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses, measure_edges, tile_edges
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.analysers.shot_quality import find_motion, measure_exposure
from lensbench.errors import BenchError
from lensbench.figure import NORMAL_95, Figure
from lensbench.findings import Geometry
from lensbench.frame import pixel_pitch_um
from lensbench.loaders import read_shot
from lensbench.loaders.guessing import guess_shows
from lensbench.shot import Shot
from lensbench.target import find_tiles
from lensbench.target.finder import FoundTiles
from lensbench.watch._bench import Bench
from lensbench.watch._coverage import coverage
from lensbench.watch._history import EdgeKey, Seen
from lensbench.watch._lean import sheet_lean
from lensbench.watch._looks import SPOTS, Exposure, Look, Spot
from lensbench.watch._problems import problems_of
from lensbench.watch._tiles import spots_of, wanted_tiles


def look_at(path: Path, bench: Bench, threads: int = 2) -> Seen:
    """Look at a shot's file.

    Parameters
    ----------
    path : Path
        It is only read.
    bench : Bench
        What is known besides.
    threads : int
        How many threads share the edges.

    Returns
    -------
    Seen
        The look, and the edges that later shots are compared with; a file that can't be read has an `error`.
    """
    start = time.perf_counter()
    try:
        shot = read_shot(path, bench.encoding)
    except BenchError as error:
        return Seen(Look(path.name, error=str(error), seconds=time.perf_counter() - start), {})
    seen = _looked_at(shot, path.name, bench, threads)
    return Seen(structs.replace(seen.look, seconds=time.perf_counter() - start), seen.edges)


def _looked_at(shot: Shot, name: str, bench: Bench, threads: int) -> Seen:
    plain = Look(
        name,
        size_px=shot.size,
        f_number=bench.f_numbers.get(name, shot.exposure.f_number),
        focal_mm=bench.focal_mm or shot.exposure.focal_mm or None,
        pixel_pitch_um=pixel_pitch_um(shot.size, bench.sensor_mm),
        exposure=_exposure(shot),
        notes=[shot.incomparable] if shot.incomparable else [],
    )
    found = find_tiles(shot, bench.layout) if bench.layout is not None else None
    if found is None or not len(found.column):
        guess = guess_shows(shot)
        look = structs.replace(plain, shows=guess)
        if guess in (None, "target") and found is not None:
            look = structs.replace(look, shows=None, notes=[*look.notes, *found.notes])
        return Seen(structs.replace(look, problems=problems_of(look)), {})
    return _target_look(shot, found, plain, bench, threads)


def _exposure(shot: Shot) -> Exposure:
    level = measure_exposure(shot)
    percent = 100 * min(level.white_share, 1.0)
    return Exposure(level.channel, percent, level.clipped, None if level.clipped else level.stops_more)


def _target_look(shot: Shot, found: FoundTiles, plain: Look, bench: Bench, threads: int) -> Seen:
    assert bench.layout is not None
    tiles = wanted_tiles(found, shot.size)
    some = _subset(found, tiles)
    places = tile_edges(found).take((3 * tiles[:, None] + np.arange(3)).ravel())
    response = measure_edges(shot, places, [shot.reference], threads)[shot.reference]
    spot = np.repeat(spots_of(some, shot.size), 3)
    covered, uncovered = coverage(found, bench.layout, shot.size)
    geometry = _geometry(shot, some, response, bench)
    motion = find_motion(shot, places, response)
    look = structs.replace(
        plain,
        shows="target",
        spots=[Spot(name, _mean(response, spot == number)) for number, name in enumerate(SPOTS)],
        lean=sheet_lean(geometry, plain.focal_mm, bench),
        covered_percent=100 * covered,
        uncovered=uncovered,
        magnification=geometry.magnification.value if geometry.magnification else None,
        motion_px=motion.length_px if motion else None,
    )
    corners = [figure.value for figure in look.corners.values()]
    if len(corners) == len(SPOTS) - 1:
        look = structs.replace(look, softest_corner_percent=100 * min(corners) / max(corners))
    problems = problems_of(look, float(response.measured.mean()), found.notes, bench)
    return Seen(structs.replace(look, problems=problems), _edges(some, response, spot))


def _subset(found: FoundTiles, tiles: NDArray[np.int64]) -> FoundTiles:
    return FoundTiles(
        found.column[tiles], found.row[tiles], found.corners_px[tiles], found.whole[tiles], found.mirrored
    )


def _geometry(shot: Shot, found: FoundTiles, response: EdgeResponses, bench: Bench) -> Geometry:
    assert bench.layout is not None
    lines = Lines.measured(found, response, shot.size)
    return measure_geometry(
        [TargetShot(shot.name, lines, found.mirrored)],
        bench.layout,
        shot.size,
        bench.sensor_mm,
        bench.rulers_measured_mm,
        bench.pupil_ratio,
    )


def _mean(response: EdgeResponses, here: NDArray[np.bool_]) -> Figure | None:
    """Mean MTF50 of some edges; the interval is that of their noise."""
    which = here & response.measured
    if not which.any():
        return None
    sigma = np.sqrt((response.mtf50_sigma[which] ** 2).sum()) / which.sum()
    return Figure.of(response.mtf50[which].mean(), NORMAL_95 * sigma, "cy/px")


def _edges(
    found: FoundTiles, response: EdgeResponses, spot: NDArray[np.int64]
) -> dict[EdgeKey, tuple[int, float]]:
    """By tile and leg: the edge's spot, and the logarithm of its MTF50."""
    column, row = np.repeat(found.column, 3), np.repeat(found.row, 3)
    return {
        (int(column[k]), int(row[k]), int(k) % 3): (int(spot[k]), float(np.log(response.mtf50[k])))
        for k in np.flatnonzero(response.measured)
    }
