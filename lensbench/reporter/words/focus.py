"""What a focus series and repeated setups mean, in sentences with their figures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lensbench.findings import Figure, Focus, FocusZone, Repeated, Repeats, Report, Setting
from lensbench.formatting import bare, limit, magnitude, spread, with_interval
from lensbench.reporter.words.sentences import in_the
from lensbench.shot import reference_channel

_WORTH_SAYING = 0.05
"""A rail that is read to this share of the depth of field is read well."""


def focus_in_words(report: Report, setting: Setting) -> list[str]:
    """Sentences on one setting's focus series."""
    focus = setting.focus
    said = [
        f"The centre is sharpest with the rail at {with_interval(focus.centre_rail_mm)}. Up to "
        f"{bare(focus.depth_mm)} mm from there it keeps five sixths of its sharpness: the depth of field here.",
        *_field(focus),
        *_lean(report, setting),
        *_gain(report, focus),
        *_colours(focus),
    ]
    if focus.rail_scatter_mm and focus.rail_scatter_mm > _WORTH_SAYING * focus.depth_mm.value:
        scatter = spread(focus.rail_scatter_mm)
        said.append(f"The rail's readings are off by {scatter} mm, as the shots show; all intervals allow for it.")
    return said


def is_flat(focus: Focus) -> bool:
    """Whether the outermost zone's best focus lies within the depth of field of the centre's, lean apart."""
    return not focus.field or max(abs(figure.value) for figure in _outermost(focus)) <= focus.depth_mm.value


def curvature(focus: Focus) -> Figure | None:
    """How far from the centre's the outermost best focus lies, mean of both directions; None without a surface."""
    if not focus.field:
        return None
    sagittal, tangential = _outermost(focus)
    half = float(np.hypot(sagittal.half_width, tangential.half_width)) / 2
    return Figure.of((sagittal.value + tangential.value) / 2, half, "mm")


def shown_zones(focus: Focus) -> list[FocusZone]:
    """The zones' rows in the channel that sharpness is shown in."""
    channel = reference_channel([zone.channel for zone in focus.zones])
    return [zone for zone in focus.zones if zone.channel == channel]


def softened(focus: Focus) -> FocusZone | None:
    """The zone that loses most by lying out of focus when the centre is in; None where none has both figures."""
    zones = [z for z in shown_zones(focus) if z.direction == "mean" and z.mtf50_at_best and z.mtf50_at_centre]
    return min(zones, key=lambda z: z.mtf50_at_centre.value / z.mtf50_at_best.value, default=None)


def in_unit(report: Report, zone: FocusZone) -> tuple[Figure | None, Figure | None]:
    """A zone's sharpness at its own best focus and at the centre's, in the report's unit."""
    if report.camera.pixel_pitch_um:
        return zone.mtf50_at_best_lp_mm, zone.mtf50_at_centre_lp_mm
    return zone.mtf50_at_best, zone.mtf50_at_centre


def _outermost(focus: Focus) -> tuple[Figure, Figure]:
    return focus.field[-1].sagittal_mm, focus.field[-1].tangential_mm


def _field(focus: Focus) -> Iterator[str]:
    if not focus.field:
        return
    last, (sagittal, tangential) = focus.field[-1], _outermost(focus)
    figures = (
        f"{with_interval(magnitude(sagittal))} {_way(sagittal)} for lines along the radius and "
        f"{with_interval(magnitude(tangential))} {_way(tangential)} for lines across it"
    )
    where = f"{round(100 * last.h)} % of the way into the corners"
    if is_flat(focus):
        yield f"The field is flat within the depth of field: {where}, best focus lies {figures}."
    else:
        bend = "in, towards the lens" if sagittal.value + tangential.value < 0 else "out, away from the lens"
        yield f"The field is curved; its rim bends {bend}: {where}, best focus lies {figures}."


def _way(figure: Figure) -> str:
    return "farther" if figure.value > 0 else "nearer"


def _lean(report: Report, setting: Setting) -> Iterator[str]:
    lean, scale = setting.focus.lean, setting.geometry.scale_px_mm if setting.geometry else None
    if lean is None or scale is None:
        return
    parts = []
    sides = ((lean.right_away_deg, "right", "left"), (lean.bottom_away_deg, "bottom", "top"))
    for (angle, far, near), length in zip(sides, report.camera.size_px, strict=True):
        if not angle.low <= 0 <= angle.high:
            across = magnitude(_across(angle, length / scale.value))
            first, second = (far, near) if angle.value > 0 else (near, far)
            parts.append(f"at the {first} edge it lies {with_interval(across)} farther than at the {second}")
    if not parts:
        yield "What is sharp lies square to the axis, as far as these shots tell."
        return
    text = f"What is sharp leans against the target: {' and '.join(parts)}."
    if lean.sensor_deg:
        text += _own(lean.sensor_deg)
    yield text


def _across(angle: Figure, length_mm: float) -> Figure:
    low, value, high = (float(np.tan(np.radians(v)) * length_mm) for v in (angle.low, angle.value, angle.high))
    return Figure(value, low, high, "mm")


def _own(sensor_deg: tuple[Figure, Figure]) -> str:
    """What is left of the lean without the target's."""
    words = [
        f"{with_interval(magnitude(figure))} {way}"
        for figure, way in zip(sensor_deg, ("across", "up and down"), strict=True)
        if not figure.low <= 0 <= figure.high
    ]
    if not words:
        return " That is no more than the target's own lean: square up the target, not the lens."
    return (
        f" The target's own lean taken off, lens and sensor stand askew to each other by {' and '.join(words)} as "
        "seen from the sensor. Turn the lens in its mount and shoot again: what turns along is the lens's."
    )


def _gain(report: Report, focus: Focus) -> Iterator[str]:
    zone = softened(focus)
    if zone is None:
        return
    own, picture = in_unit(report, zone)
    if picture.value < 0.95 * own.value:
        yield (
            f"With the centre in focus, {in_the(zone.zone)} shows {bare(picture)} of the "
            f"{with_interval(own)} that it has at its own best focus: that difference is focus, not glass."
        )


def _colours(focus: Focus) -> Iterator[str]:
    parts = [
        f"{row.channel} {with_interval(magnitude(row.focus_mm))} {_way(row.focus_mm)}"
        if row.nearer != "neither"
        else f"{row.channel} in the same place"
        for row in focus.colours
    ]
    if parts:
        apart = max(abs(row.focus_mm.value) for row in focus.colours)
        verdict = "within" if apart <= focus.depth_mm.value else "more than"
        yield f"Against green, the centre focuses {' and '.join(parts)}: {verdict} the depth of field."


# -- repeats --------------------------------------------------------------------------------------------------

_SETTLED = 5
"""From so many setups on the spread is known well enough to go without a warning."""


def repeats_name(repeats: Repeats) -> str:
    """The aperture that was set up several times, as headings call it."""
    return Setting(repeats.f_number, repeats.aperture, repeats.lens_turn_deg).name


def repeats_in_words(repeats: Repeats) -> str:
    """How far apart two builds must lie, by the centre's sharpness."""
    count = len(repeats.setups)
    text = f"{repeats_name(repeats)} was set up {count} times."
    centre = centre_repeated(repeats)
    if centre is not None:
        text += (
            f" Sharpness in {in_the(centre.zone)} changes by {spread(centre.spread.value)} "
            f"{centre.mean.unit} from one setup to the next (one standard deviation); the shots' own noise leaves "
            f"± {spread(centre.shot_half_width)}. A build shot in {count} setups too must differ by more "
            f"than {limit(centre.smallest_difference)} {centre.mean.unit} before it may be called better or worse."
        )
    if count < _SETTLED:
        text += (
            f" {count} setups say little about their spread, hence the wide margin: {_SETTLED} or more narrow it."
        )
    return text


def centre_repeated(repeats: Repeats) -> Repeated | None:
    """The sharpness of the zone nearest to the centre."""
    return next((row for row in repeats.figures if row.what == "sharpness"), None)
