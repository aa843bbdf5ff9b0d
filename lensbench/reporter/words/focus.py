"""What a focus series means, in sentences with their figures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lensbench.findings import Figure, Focus, FocusLean, Report, Setting
from lensbench.formatting import bare, limit, listed, magnitude, spread, with_interval
from lensbench.reporter.values.figures import beyond_chance
from lensbench.reporter.values.focus import is_flat, outermost, softened
from lensbench.reporter.values.zones import in_the

_WORTH_SAYING = 0.05
"""A rail that is read to this share of the depth of field is read well (chosen by experience)."""


def focus_in_words(report: Report, setting: Setting) -> list[str]:
    """Sentences on one setting's focus series."""
    focus = setting.focus
    if focus is None:
        return []
    said = [
        f"The centre is sharpest with the rail at {with_interval(focus.centre_rail_mm)}. Up to "
        f"{limit(focus.depth_mm.value)} mm from there it keeps five sixths of its sharpness: the depth of field "
        "here.",
        *_field(focus),
        *_lean(report, setting),
        *_softened(report, focus),
        *_colours(focus),
    ]
    if focus.rail_scatter_mm and focus.rail_scatter_mm > _WORTH_SAYING * focus.depth_mm.value:
        scatter = spread(focus.rail_scatter_mm)
        said.append(
            f"The rail's readings scatter by {scatter} mm, as the shots show; all intervals allow for that."
        )
    return said


def _field(focus: Focus) -> Iterator[str]:
    if not focus.field:
        return
    sagittal, tangential = outermost(focus)
    figures = (
        f"{with_interval(magnitude(sagittal))} {_way(sagittal)} for lines along the radius and "
        f"{with_interval(magnitude(tangential))} {_way(tangential)} for lines across it"
    )
    where = f"{round(100 * focus.field[-1].h)} % of the way into the corners"
    if is_flat(focus):
        yield f"The field is flat within the depth of field: {where}, best focus lies {figures}."
    else:
        curve = "in, towards the lens" if sagittal.value + tangential.value < 0 else "out, away from the lens"
        yield f"The field is curved; its rim curves {curve}: {where}, best focus lies {figures}."


def _way(figure: Figure) -> str:
    return "farther" if figure.value > 0 else "nearer"


def _lean(report: Report, setting: Setting) -> Iterator[str]:
    lean = setting.focus.lean if setting.focus else None
    scale = setting.geometry.scale_px_mm if setting.geometry else None
    if lean is None or scale is None:
        return
    parts = list(_farther_edges(lean, [length / scale.value for length in report.camera.size_px]))
    if not parts:
        yield "The plane of best focus is square to the axis, as far as these shots can tell."
        return
    yield f"The plane of best focus leans against the target: {listed(parts)}.{_sensor_lean(lean)}"


def _farther_edges(lean: FocusLean, lengths_mm: list[float]) -> Iterator[str]:
    """At which edge of the frame best focus lies farther than at the opposite one, and by how much."""
    sides = ((lean.right_away_deg, "right", "left"), (lean.bottom_away_deg, "bottom", "top"))
    for (angle, far, near), length in zip(sides, lengths_mm, strict=True):
        if beyond_chance(angle):
            across = magnitude(_across(angle, length))
            first, second = (far, near) if angle.value > 0 else (near, far)
            yield f"at the {first} edge it lies {with_interval(across)} farther than at the {second}"


def _across(angle: Figure, length_mm: float) -> Figure:
    low, value, high = (float(np.tan(np.radians(v)) * length_mm) for v in (angle.low, angle.value, angle.high))
    return Figure(value, low, high, "mm")


def _sensor_lean(lean: FocusLean) -> str:
    """What is left of the lean without the target's; empty where that isn't known."""
    if lean.sensor_deg is None:
        return ""
    words = [
        f"{with_interval(magnitude(figure))} {way}"
        for figure, way in zip(lean.sensor_deg, ("across", "up and down"), strict=True)
        if beyond_chance(figure)
    ]
    if not words:
        return " That is no more than the target's own lean: square up the target, not the lens."
    return (
        f" With the target's own lean taken off, lens and sensor lean to each other by {listed(words)}, as seen "
        "from the sensor. Turn the lens in its mount and shoot again: what turns with it belongs to the lens."
    )


def _softened(report: Report, focus: Focus) -> Iterator[str]:
    found = softened(report, focus)
    if found is None:
        return
    zone, best, with_centre = found
    if with_centre.value < 0.95 * best.value:
        yield (
            f"With the centre in focus, {in_the(zone)} shows {bare(with_centre)} of the "
            f"{with_interval(best)} that it has at its own best focus: that loss is focus, not the glass."
        )


def _colours(focus: Focus) -> Iterator[str]:
    parts = [
        f"{row.channel} {with_interval(magnitude(row.focus_mm))} {_way(row.focus_mm)}"
        if row.nearer != "neither"
        else f"{row.channel} equally far"
        for row in focus.colours
    ]
    if parts:
        apart = max(abs(row.focus_mm.value) for row in focus.colours)
        verdict = "within" if apart <= focus.depth_mm.value else "more than"
        yield f"Compared with green, the centre focuses {listed(parts)}: {verdict} the depth of field."
