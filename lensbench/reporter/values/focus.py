"""A focus series as it is shown: the field's curvature, and zones at their own and at the centre's best focus."""

from __future__ import annotations

import math

from lensbench.findings import Figure, Focus, FocusZone, Report
from lensbench.shot import reference_channel


def outermost(focus: Focus) -> tuple[Figure, Figure]:
    """Best focus farthest out, sagittal and tangential, mm from the centre's; there is a surface."""
    return focus.field[-1].sagittal_mm, focus.field[-1].tangential_mm


def is_flat(focus: Focus) -> bool:
    """Whether the outermost best focus lies within the depth of field of the centre's, lean apart."""
    return not focus.field or max(abs(figure.value) for figure in outermost(focus)) <= focus.depth_mm.value


def curvature(focus: Focus) -> Figure | None:
    """How far from the centre's the outermost best focus lies, mean of both directions; None without a surface."""
    if not focus.field:
        return None
    sagittal, tangential = outermost(focus)
    half = math.hypot(sagittal.half_width, tangential.half_width) / 2
    return Figure.of((sagittal.value + tangential.value) / 2, half, "mm")


def shown_zones(focus: Focus) -> list[FocusZone]:
    """The zones' rows in the channel that sharpness is shown in."""
    channel = reference_channel([zone.channel for zone in focus.zones])
    return [zone for zone in focus.zones if zone.channel == channel]


def at_best_and_centre(report: Report, zone: FocusZone) -> tuple[Figure | None, Figure | None]:
    """A zone's sharpness at its own best focus and at the centre's, in the report's unit."""
    if report.camera.pixel_pitch_um:
        return zone.mtf50_at_best_lp_mm, zone.mtf50_at_centre_lp_mm
    return zone.mtf50_at_best, zone.mtf50_at_centre


def softened(report: Report, focus: Focus) -> tuple[str, Figure, Figure] | None:
    """The zone that loses most by lying out of focus when the centre is in focus.

    Returns
    -------
    (str, Figure, Figure) or None
        Its name, its sharpness at its own best focus and at the centre's; None where no zone has both.
    """
    known = []
    for zone in shown_zones(focus):
        best, centre = at_best_and_centre(report, zone)
        if zone.direction == "mean" and best and centre:
            known.append((zone.zone, best, centre))
    return min(known, key=lambda row: row[2].value / row[1].value, default=None)
