"""Tables of the light: by zone, by distance from the middle, its shape, the colour cast, and glare in the dark."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lensbench.findings import Falloff, Figure, Report, UsableLight, ZoneGlare
from lensbench.formatting import NOT_MEASURED, number, with_interval
from lensbench.reporter.tables.table import Table, zone_rows
from lensbench.reporter.values.light import cut_corners, image_circle, together
from lensbench.reporter.values.zones import corner_name, zone_heading

_Shown = Sequence[tuple[str, Falloff]]
"""Settings' names, each with its falloff."""


def falloff_tables(report: Report) -> list[Table]:
    """Falloff by zone, its shape, by distance, and the colour cast."""
    shown = [(s.name, s.falloff) for s in report.settings if s.falloff and s.falloff.zones]
    if not shown:
        return []
    return [_by_zone(shown), _shape(shown), *_by_distance(shown), *_cast(shown)]


def glare_tables(report: Report) -> list[Table]:
    """Light in the dark tiles by zone, less the ink where that is known."""
    columns: list[dict[str, Figure | None]] = []
    groups, head = [], ["zone"]
    for setting in report.settings:
        glare = setting.glare
        if glare is None or not glare.zones:
            continue
        parts = _glare_parts(glare.zones, glare.ink_percent is not None)
        columns += parts.values()
        head += parts
        groups.append((setting.name, len(parts)))
    if not groups:
        return []
    caption = "Light in the dark tiles, percent of the white around; glare is what remains without the ink's own"
    return [Table(caption, head, zone_rows(columns), groups)]


def _glare_parts(zones: list[ZoneGlare], ink_known: bool) -> dict[str, dict[str, Figure | None]]:
    parts: dict[str, dict[str, Figure | None]] = {"in the dark": {zone.zone: zone.dark_percent for zone in zones}}
    if ink_known:
        parts["glare"] = {zone.zone: zone.glare_percent for zone in zones}
    return parts


def _by_zone(shown: _Shown) -> Table:
    """By zone, with how much of it the image circle cuts off; what is too dark has no figure."""
    rows = zone_rows([{zone.zone: zone.stops for zone in falloff.zones} for _, falloff in shown])
    for column, (_, falloff) in enumerate(shown, start=1):
        cut = {zone_heading(corner.zone): corner.cut_percent.value for corner in cut_corners(falloff)}
        for row in rows:
            if row[0] in cut:
                row[column] += f" ({cut[row[0]]:.0f} % cut off)"
    return Table("Falloff in stops below the middle", ["zone", *_names(shown)], rows)


def _names(shown: _Shown) -> list[str]:
    return [name for name, _ in shown]


def _by_distance(shown: _Shown) -> list[Table]:
    """The mean around the middle at each distance, and the cos⁴ law beside it where the field angle is known."""
    steps = sorted({step.h for _, falloff in shown for step in falloff.profile})
    if not steps:
        return []
    columns = [{step.h: step.stops for step in falloff.profile} for _, falloff in shown]
    head = ["h", *_names(shown)]
    law = {step.h: step.cos4_stops for step in shown[0][1].profile if step.cos4_stops}
    if law:
        columns.append(law)
        head.append("cos⁴ law")
    rows = [[f"{h:.1f}", *(with_interval(column.get(h), unit=False) for column in columns)] for h in steps]
    return [Table("Falloff in stops by distance from the middle (h = 1 in the corners)", head, rows)]


def _cast(shown: _Shown) -> list[Table]:
    shown = [(name, falloff) for name, falloff in shown if falloff.cast]
    if not shown:
        return []
    columns = [
        {zone.zone: getattr(zone, part) for zone in falloff.cast}
        for _, falloff in shown
        for part in ("red_percent", "blue_percent")
    ]
    head, groups = ["zone", *["red", "blue"] * len(shown)], [(name, 2) for name in _names(shown)]
    caption = "Colour cast: red and blue over green against the middle, percent"
    return [Table(caption, head, zone_rows(columns, signed=True), groups)]


# -- the shape ------------------------------------------------------------------------------------------------


def _shape(shown: _Shown) -> Table:
    """One line a finding, one column a setting; lines that no setting fills are left out."""
    lines: list[tuple[str, Callable[[Falloff], str | None]]] = [
        ("darkest corner", _worst),
        ("darker from the middle towards", _gradient),
        ("1 stop at a radius of", lambda f: _usable(f, 1)),
        ("2 stops at a radius of", lambda f: _usable(f, 2)),
        ("3 stops at a radius of", lambda f: _usable(f, 3)),
        ("radius of the image circle", _circle),
        ("corners cut off", _cut),
        ("hot spot in the middle", _spot),
        ("the panel's own unevenness", _panel),
    ]
    rows = [[name, *(said(falloff) or NOT_MEASURED for _, falloff in shown)] for name, said in lines]
    kept = [row for row in rows if any(cell != NOT_MEASURED for cell in row[1:])]
    return Table("The shape of the light", ["what", *_names(shown)], kept, words=1 + len(shown))


def _worst(falloff: Falloff) -> str | None:
    worst = falloff.worst_corner
    if worst is None and not falloff.covers_frame:
        return "black, more than 8 stops"
    return f"{corner_name(worst.zone)}, {with_interval(worst.stops)}{together(falloff)}" if worst else None


def _gradient(falloff: Falloff) -> str | None:
    gradient = falloff.gradient
    if gradient is None:
        return None
    size = gradient.size_stops
    if size.low <= 0:
        return f"no side (within {number(max(size.high, 0.01), 2)} stop)"
    return f"{gradient.darker_at}, {with_interval(size)}"


def _usable(falloff: Falloff, stops: float) -> str | None:
    usable = falloff.coverage.usable if falloff.coverage else []
    found: UsableLight | None = next((u for u in usable if u.stops == stops), None)
    if found is None:
        return None
    figure: Figure | None = found.radius_mm or found.radius_px
    if figure is not None:
        return with_interval(figure)
    darker = next((line.darker_percent.value for line in falloff.contours if line.stops == stops), 0.0)
    if not darker:
        return "nowhere in the frame"
    share = "less than 0.1" if darker < 0.1 else number(darker, 1 if darker < 10 else 0)
    return f"not all around: {share} % of the frame is darker"


def _circle(falloff: Falloff) -> str | None:
    circle = image_circle(falloff)
    if circle is None:
        return None
    radius = circle.radius_mm or circle.radius_px
    return with_interval(radius) if radius else f"not known; light ends within {with_interval(circle.width_px)}"


def _cut(falloff: Falloff) -> str | None:
    corners = cut_corners(falloff)
    cut = (f"{corner_name(corner.zone)} {corner.cut_percent.value:.0f} %" for corner in corners)
    return "; ".join(cut) or None


def _spot(falloff: Falloff) -> str | None:
    spot = falloff.hot_spot
    return f"{with_interval(spot.percent)}, left out" if spot else None


def _panel(falloff: Falloff) -> str | None:
    panel = falloff.panel
    if panel is None or panel.unevenness_stops is None:
        return None
    return f"{with_interval(panel.unevenness_stops)}, taken off"
