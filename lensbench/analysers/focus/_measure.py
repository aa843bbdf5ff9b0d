"""A series of shots along a rail: where all is sharpest, how sharp it is there, and with the centre in focus."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lensbench import frame
from lensbench.analysers.focus._colours import colour_focus
from lensbench.analysers.focus._lean import Sheet, field_steps, focus_lean
from lensbench.analysers.focus._motion_blur import find_motion_blur
from lensbench.analysers.focus._peaks import find_centre, find_peaks
from lensbench.analysers.focus._rail_positions import correct_readings
from lensbench.analysers.focus._series import FocusShot, Series
from lensbench.analysers.focus._surface import fit_surface
from lensbench.analysers.focus._through_focus import through_focus
from lensbench.analysers.focus._tile_table import tile_rows
from lensbench.analysers.focus._zone_table import zone_rows
from lensbench.findings import NORMAL_95, Figure, Focus
from lensbench.shot import reference_channel

LEAST_SHOTS = 4
"""With fewer shots than this nothing is said of focus."""

MOST_REJECTED = 2
"""No more shots than this are rejected from a series for motion blur."""

DIRECTION_UNKNOWN = (
    "The size of the picture does not show in which direction the rail counts: larger readings are assumed to be "
    "farther from the target."
)


def measure_focus(
    shots: Sequence[FocusShot],
    size: tuple[int, int],
    pixel_pitch_um: float | None = None,
    sheet: Sheet | None = None,
) -> Focus | None:
    """Measure a series of shots along a rail, focus and aperture untouched.

    Each tile's sharpness in each direction and colour is followed from shot to shot (tiles are identified by their
    lattice indices, since the picture's size changes along the rail); a smooth curve through its blur's width
    squared gives its peak. The centre's best focus is the mean over its tiles, both directions, in green.

    Parameters
    ----------
    shots : sequence of FocusShot
        In any order.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        The pixel pitch; gives the figures in lp/mm.
    sheet : Sheet, optional
        The target; gives the lean of the surface of best focus.

    Returns
    -------
    Focus or None
        None where there are too few shots, or the centre's peak isn't within the series.
    """
    if len({shot.rail_mm for shot in shots}) < LEAST_SHOTS:
        return None
    series = Series.of(shots)
    reference = reference_channel(series.mtf50)
    series, notes = _without_motion_blur(series, reference)
    rail = correct_readings(series.away, *series.curves(reference))
    at = series.positions(reference)
    zone = frame.zone_index(*at, size)
    inside = zone == 0
    centre = find_centre(rail, series, reference, inside)
    if centre is None:
        return None
    peaks = {name: find_peaks(series, name, rail, centre) for name in series.mtf50}
    best = peaks[reference]
    surface = fit_surface(*at, best.best, np.hypot(best.best_sigma, best.best_common_sigma), size)
    nearest = int(np.argmin(np.abs(rail.position - centre.position)))
    reading, middle = np.polyfit(rail.position, series.reading, 1)
    lean = None
    if surface is not None and sheet is not None:
        lean = focus_lean(surface, size, sheet, rail.scatter_mm)
    return Focus(
        shots=series.shots,
        rail_mm=[float(v) for v in series.reading],
        centre_rail_mm=Figure.of(reading * centre.position + middle, NORMAL_95 * centre.sigma, "mm"),
        larger_is="nearer" if series.sign < 0 else "farther",
        depth_mm=Figure.of(centre.depth, NORMAL_95 * centre.depth_sigma, "mm"),
        shot=series.shots[nearest],
        shot_off_mm=float(rail.position[nearest] - centre.position),
        shot_loss_percent=centre.loss_percent(rail.position[nearest]),
        rail_scatter_mm=rail.scatter_mm or None,
        zones=zone_rows(peaks, zone, rail, centre, pixel_pitch_um),
        tiles=tile_rows(series, peaks, at, size, rail, centre),
        through=through_focus(series, reference, zone, rail, centre),
        field=[] if surface is None else field_steps(surface, rail.scatter_mm),
        lean=lean,
        colours=colour_focus(peaks, inside, rail.scale_sigma),
        notes=notes if series.sign else [*notes, DIRECTION_UNKNOWN],
    )


def _without_motion_blur(series: Series, channel: str) -> tuple[Series, list[str]]:
    """The series without shots that were blurred by motion, and a note on each."""
    notes: list[str] = []
    while len(notes) < MOST_REJECTED:
        worst = find_motion_blur(series.away, *series.curves(channel))
        if worst is None:
            break
        shot, share = worst
        notes.append(
            f"{series.shots[shot]} is {100 * share:.0f} % softer everywhere than the shots around it predict. It "
            "seems blurred by motion and is not used in the series."
        )
        series = series.without(shot)
    return series, notes
