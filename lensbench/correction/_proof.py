"""What a corrected bench shot still shows, measured as the original is: the figures before and after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust import find_marks
from lensbench.analysers.edge import EdgeResponses, measure_edges, tile_edges
from lensbench.analysers.falloff import measure_falloff
from lensbench.analysers.fringing import measure_fringing
from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.correction._dirt_proof import deepest_shadow
from lensbench.errors import BenchError
from lensbench.findings import Mark
from lensbench.loaders.guessing import guess_shows
from lensbench.shot import Shot
from lensbench.target.finder import find_tiles
from lensbench.target.layout import Layout


@dataclass(frozen=True)
class Shown:
    """What one shot shows of what can be corrected; None where it shows nothing of it.

    Attributes
    ----------
    fringing_px : float
        Red's or blue's mean displacement from green in the worst zone.
    distortion_percent : float
        Of the half-diagonal, at the worst distance from the centre that the target reaches.
    mtf50 : float
        Median over green's edges, in cycles a pixel.
    falloff_stops : float
        Between the lightest and the darkest zone.
    cast_percent : float
        Of red or blue over green, in the worst zone.
    dirt_percent : float
        What the deepest shadow of dirt takes of the light around, of the marks found before.
    """

    fringing_px: float | None = None
    distortion_percent: float | None = None
    mtf50: float | None = None
    falloff_stops: float | None = None
    cast_percent: float | None = None
    dirt_percent: float | None = None


@dataclass(frozen=True)
class Proof:
    """What a picture showed before and shows after; both are None for what is no shot of the bench."""

    before: Shown
    after: Shown


def as_shot(name: str, planes: NDArray[np.float32], like: Shot) -> Shot:
    """Corrected planes as a shot that can be measured.

    Parameters
    ----------
    name : str
    planes : ndarray, shape (height, width, 3) or (height, width)
        From 0 to 1.
    like : Shot
        The original.
    """
    grey = planes.ndim == 2
    return replace(
        like,
        name=name,
        samples=planes,
        pattern=np.zeros((1, 1), np.uint8) if grey else None,
        colours=("grey",) if grey else ("red", "green", "blue"),
        black=np.zeros(1 if grey else 3),
        white=1.0,
        gain=np.ones(1 if grey else 3),
    )


def prove(original: Shot, corrected: Shot, layout: Layout | None) -> Proof:
    """Measure a bench shot before and after.

    Parameters
    ----------
    original, corrected : Shot
    layout : Layout or None
        The target, where it is known.

    Raises
    ------
    BenchError
        Where the picture shows neither the target nor an even light, or can't be measured.
    """
    shows = guess_shows(original)
    if shows == "flat":
        marks = find_marks(original).marks
        return Proof(*(_light(shot, marks) for shot in (original, corrected)))
    if shows != "target":
        raise BenchError(f"{original.name}: shows neither the target nor an even light, so it can prove nothing.")
    if layout is None:
        raise BenchError(
            f"{original.name}: shows the target, but its target.json is not beside it. Copy it there."
        )
    return Proof(*(_edges(shot, layout) for shot in (original, corrected)))


def _light(shot: Shot, marks: Sequence[Mark]) -> Shown:
    falloff = measure_falloff([shot])
    stops = [zone.stops.value for zone in falloff.zones]
    casts = [abs(f.value) for zone in falloff.cast for f in (zone.red_percent, zone.blue_percent) if f is not None]
    return Shown(
        falloff_stops=max(stops) - min(stops),
        cast_percent=max(casts, default=None),
        dirt_percent=deepest_shadow(shot, marks),
    )


def _edges(shot: Shot, layout: Layout) -> Shown:
    found = find_tiles(shot, layout)
    responses = measure_edges(shot, tile_edges(found))
    green = responses[shot.reference]
    fringing = measure_fringing(found, responses, shot.size)
    zones = [float(np.hypot(zone.radial_px.value, zone.around_px.value)) for zone in fringing.zones]
    return Shown(
        fringing_px=max(zones, default=None),
        distortion_percent=_distortion(shot, found, green, layout),
        mtf50=float(np.nanmedian(green.mtf50)) if np.isfinite(green.mtf50).any() else None,
    )


def _distortion(shot: Shot, found, green: EdgeResponses, layout: Layout) -> float | None:
    lines = Lines.measured(found, green, shot.size)
    geometry = measure_geometry([TargetShot(shot.name, lines, mirrored=found.mirrored)], layout, shot.size)
    if geometry.distortion is None:
        return None
    # A share of a radius, brought to one of the half-diagonal.
    return max((abs(step.percent.value) * step.h for step in geometry.distortion.curve), default=None)
