"""A series of shots along a rail: where all is sharpest, how sharp it is there, and with the centre in focus."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lensbench import frame
from lensbench.analysers.focus._colours import colour_focus
from lensbench.analysers.focus._rail import shaken, straighten
from lensbench.analysers.focus._series import FocusShot, Series, arrange, find_centre, follow, places_of
from lensbench.analysers.focus._surface import FocusSurface, fit_surface
from lensbench.analysers.focus._tables import through_focus, tile_rows, zone_rows
from lensbench.findings import NORMAL_95, FieldStep, Figure, Focus, FocusLean
from lensbench.shot import reference_channel

__all__ = ["FocusShot", "Sheet", "measure_focus"]

LEAST_SHOTS = 4
"""With fewer shots than this nothing is said of focus."""

MOST_SHAKEN = 2
"""No more shots than this are left out of a series as shaken."""

FIELD_H = (0.25, 0.5, 0.75, 0.9)
"""Where the surface of best focus is stated, and at the outermost place."""

WAY_UNKNOWN = (
    "The size of the picture does not tell which way the rail counts: larger readings are taken as farther from "
    "the target."
)


class Sheet(NamedTuple):
    """How the target stood: pixels a millimetre, magnification, and its own lean, right and lower side away."""

    scale_px_mm: float
    magnification: float | None = None
    lean_deg: tuple[Figure, Figure] | None = None


def measure_focus(
    shots: Sequence[FocusShot],
    size: tuple[int, int],
    pixel_pitch_um: float | None = None,
    sheet: Sheet | None = None,
) -> Focus | None:
    """Measure a series of shots along a rail, focus and aperture untouched.

    Each tile's sharpness in each direction and colour is followed from shot to shot (tiles are known by their
    place on the target, since the picture's size changes along the rail); a smooth curve through its blur's width
    squared gives its peak. The centre's best focus is the mean over its tiles, both directions, in green.

    Parameters
    ----------
    shots : sequence of FocusShot
        In any order.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        Distance of the pixels on the sensor; gives the figures in lp/mm.
    sheet : Sheet, optional
        How the target stood; gives the lean of the surface of best focus.

    Returns
    -------
    Focus or None
        None where there are too few shots, or the centre's peak isn't within the series.
    """
    if len({shot.rail_mm for shot in shots}) < LEAST_SHOTS:
        return None
    series = arrange(shots)
    reference = reference_channel(series.mtf50)
    series, notes = _without_shaken(series, reference)
    rail = straighten(series.away, *series.curves(reference))
    at = places_of(series, series.mtf50[reference])
    zone = frame.zone_index(*at, size)
    inside = zone == 0
    centre = find_centre(rail, series, reference, inside)
    if centre is None:
        return None
    found = {name: follow(series, name, rail, centre) for name in series.mtf50}
    best = found[reference]
    surface = fit_surface(*at, best.best, np.hypot(best.best_sigma, best.best_missed), size)
    nearest = int(np.argmin(np.abs(rail.place - centre.place)))
    reading, middle = np.polyfit(rail.place, series.reading, 1)
    return Focus(
        shots=series.shots,
        rail_mm=[float(v) for v in series.reading],
        centre_rail_mm=Figure.of(reading * centre.place + middle, NORMAL_95 * centre.sigma, "mm"),
        larger_is="nearer" if series.sign < 0 else "farther",
        depth_mm=Figure.of(centre.depth, NORMAL_95 * centre.depth_sigma, "mm"),
        shot=series.shots[nearest],
        shot_off_mm=float(rail.place[nearest] - centre.place),
        shot_loss_percent=centre.loss_percent(rail.place[nearest]),
        rail_scatter_mm=rail.scatter_mm or None,
        zones=list(zone_rows(found, zone, rail, centre, pixel_pitch_um)),
        tiles=list(tile_rows(series, found, at, size, rail, centre)),
        through=list(through_focus(series, reference, zone, rail, centre)),
        field=_field(surface, rail.scatter_mm),
        lean=_lean(surface, size, sheet, rail.scatter_mm),
        colours=colour_focus(found, inside, rail.scale_sigma),
        notes=notes if series.sign else [*notes, WAY_UNKNOWN],
    )


def _without_shaken(series: Series, channel: str) -> tuple[Series, list[str]]:
    """The series without shots that were shaken, and what to say of them."""
    notes: list[str] = []
    while len(notes) < MOST_SHAKEN:
        worst = shaken(series.away, *series.curves(channel))
        if worst is None:
            break
        shot, share = worst
        notes.append(
            f"{series.shots[shot]} is {100 * share:.0f} % softer everywhere than the shots around it let expect. "
            "It was shaken, it seems, and is left out of the series."
        )
        series = series.without(shot)
    return series, notes


def _field(surface: FocusSurface | None, scatter_mm: float) -> list[FieldStep]:
    """The surface of best focus from the middle out; what the rail scatters bends it as a whole."""
    if surface is None:
        return []
    steps = [*(h for h in FIELD_H if h < surface.reach - 0.03), surface.reach]
    rows = []
    for h in steps:
        value, noise = surface.bow(h)
        sigma = np.hypot(noise, scatter_mm)
        rows.append(
            FieldStep(round(h, 3), *(Figure.of(v, NORMAL_95 * s, "mm") for v, s in zip(value, sigma, strict=True)))
        )
    return rows


def _lean(
    surface: FocusSurface | None, size: tuple[int, int], sheet: Sheet | None, scatter_mm: float
) -> FocusLean | None:
    """How the surface leans against the target, and what of that is not the target's own."""
    if surface is None or sheet is None:
        return None
    half_diagonal_mm = frame.half_diagonal(size) / sheet.scale_px_mm
    value, noise = surface.lean()
    value, sigma = value / half_diagonal_mm, np.hypot(noise, scatter_mm) / half_diagonal_mm
    against = [
        Figure.of(*np.degrees((np.arctan(v), NORMAL_95 * s)), "°") for v, s in zip(value, sigma, strict=True)
    ]
    if sheet.magnification is None or sheet.lean_deg is None:
        return FocusLean(*against)
    behind = [
        _behind(v, s, own, sheet.magnification) for v, s, own in zip(value, sigma, sheet.lean_deg, strict=True)
    ]
    return FocusLean(*against, sensor_deg=tuple(behind))


def _behind(slope: float, sigma: float, sheet: Figure, magnification: float) -> Figure:
    """A slope before the lens, the sheet's own taken off, as the angle behind the lens: m times the slope."""
    whole = magnification * (slope + np.tan(np.radians(sheet.value)))
    sigma = magnification * np.hypot(sigma, np.radians(sheet.half_width) / NORMAL_95)
    return Figure.of(*np.degrees((np.arctan(whole), NORMAL_95 * sigma)), "°")
