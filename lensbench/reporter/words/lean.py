"""How sensor, lens and sheet leaned, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.formatting import bare, first_capital, magnitude, with_interval
from lensbench.reporter.values.lean import Lean, times_drawn

_CAUSES = {
    "lens": ", and the softness turns with the lens",
    "front group": ", and the softness turns with the front group",
    "lens or mount": ": because of the lens, its mount or the sensor",
    "mount or sensor": ", and the softness stays with the camera",
    "target": ", as the sheet's lean makes it",
    "target or camera": ", and the softness stays with the sheet or the camera",
}

_LEANS = {
    "lens": "the lens leans: best focus by {} to the sensor",
    "front group": "the front group leans: best focus by {} to the sensor",
    "mount or sensor": "mount or sensor lean {} to the lens",
}


def lean_in_words(lean: Lean, leans: list[Lean]) -> str:
    """The sentence under the drawing of one of both views."""
    text = "; ".join(_parts(lean))
    return f"{first_capital(text)}.{_steepness(lean, times_drawn(leans))}"


def _parts(lean: Lean) -> Iterator[str]:
    near, far = lean.ends
    if lean.sheet_deg:
        end = far if lean.sheet_deg.value > 0 else near
        yield f"the sheet's {end} side is turned {with_interval(magnitude(lean.sheet_deg))} away"
    elif lean.sheet_percent:
        end = near if lean.sheet_percent.value > 0 else far
        yield f"the sheet appears {bare(magnitude(lean.sheet_percent))} % larger at the {end}: it is nearer there"
    else:
        yield "the sheet was square to the camera"
    if lean.sensor_deg:
        which = _LEANS.get(lean.whose, "lens and sensor lean {} to each other")
        open_way = "" if lean.way else " (blur alone doesn't show which way)"
        yield which.format(with_interval(magnitude(lean.sensor_deg))) + open_way
    if lean.softer:
        yield f"the {lean.softer} is softer{_CAUSES.get(lean.cause, ': because of the sheet or the lens')}"


def _steepness(lean: Lean, times: float | None) -> str:
    if not times or not (lean.sheet_deg or lean.sensor_deg or lean.sheet_about_deg):
        return ""
    if lean.sheet_deg or not lean.sheet_about_deg:
        return f" Drawn {times:g} times as steep as it is."
    return f" Drawn about {times:g} times as steep: how steep it is, only a step along a rail would show."
