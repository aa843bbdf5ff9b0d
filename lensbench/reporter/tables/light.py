"""Tables of the light: by zone, by distance from the middle, its shape, the colour cast, and glare in the dark."""

from __future__ import annotations

from lensbench.findings import CutCorner, Falloff, Figure, Report, Setting, UsableLight
from lensbench.formatting import NOT_MEASURED, number, with_interval
from lensbench.reporter.tables.page import Table, zone_rows
from lensbench.reporter.words import sentences


def falloff_tables(report: Report) -> list[Table]:
    """Falloff by zone, its shape, by distance, and the colour cast."""
    shown = [setting for setting in report.settings if setting.falloff and setting.falloff.zones]
    if not shown:
        return []
    return [_by_zone(shown), _shape(shown), *_by_distance(shown), *_cast(shown)]


def glare_tables(report: Report) -> list[Table]:
    """Light in the dark tiles by zone, less the ink where that is known."""
    shown = [setting for setting in report.settings if setting.glare and setting.glare.zones]
    if not shown:
        return []
    columns, groups, head = [], [], ["zone"]
    for setting in shown:
        zones = setting.glare.zones
        columns.append({zone.zone: zone.dark_percent for zone in zones})
        head.append("in the dark")
        if setting.glare.ink_percent is not None:
            columns.append({zone.zone: zone.glare_percent for zone in zones})
            head.append("glare")
        groups.append((setting.name, 2 if setting.glare.ink_percent is not None else 1))
    caption = "Light in the dark tiles, percent of the white around; glare is what remains without the ink's own"
    return [Table(caption, head, zone_rows(columns), groups)]


def _by_zone(shown: list[Setting]) -> Table:
    """By zone, with how much of it a hard edge cuts off, and what is too dark for a figure."""
    columns = [{zone.zone: zone.stops for zone in setting.falloff.zones} for setting in shown]
    rows = zone_rows(columns)
    for row in rows:
        for place, setting in enumerate(shown, start=1):
            cut = {corner.zone: corner.cut_percent.value for corner in _cut_corners(setting.falloff)}
            share = next((share for zone, share in cut.items() if zone.replace("-", " ") == row[0]), None)
            if share is not None:
                row[place] += f" ({share:.0f} % cut off)"
    return Table("Falloff in stops below the middle", ["zone", *_names(shown)], rows)


def _cut_corners(falloff: Falloff) -> list[CutCorner]:
    edge = falloff.coverage.image_circle if falloff.coverage else None
    return edge.corners if edge else []


def _names(shown: list[Setting]) -> list[str]:
    return [setting.name for setting in shown]


def _by_distance(shown: list[Setting]) -> list[Table]:
    """The mean around the middle at each distance, and the cos⁴ law beside it where the field angle is known."""
    steps = sorted({step.h for setting in shown for step in setting.falloff.profile})
    if not steps:
        return []
    columns = [{step.h: step.stops for step in setting.falloff.profile} for setting in shown]
    head = ["h", *_names(shown)]
    law = {step.h: step.cos4_stops for step in shown[0].falloff.profile if step.cos4_stops}
    if law:
        columns.append(law)
        head.append("cos⁴ law")
    rows = [[f"{h:.1f}", *(with_interval(column.get(h), unit=False) for column in columns)] for h in steps]
    return [Table("Falloff in stops by distance from the middle (h = 1 in the corners)", head, rows)]


def _cast(shown: list[Setting]) -> list[Table]:
    shown = [setting for setting in shown if setting.falloff.cast]
    if not shown:
        return []
    columns = [
        {zone.zone: getattr(zone, part) for zone in setting.falloff.cast}
        for setting in shown
        for part in ("red_percent", "blue_percent")
    ]
    head, groups = ["zone", *["red", "blue"] * len(shown)], [(name, 2) for name in _names(shown)]
    caption = "Colour cast: red and blue over green against the middle, percent"
    return [Table(caption, head, zone_rows(columns, signed=True), groups)]


# -- the shape ------------------------------------------------------------------------------------------------


def _shape(shown: list[Setting]) -> Table:
    """One line a finding, one column a setting; lines that no setting fills are left out."""
    lines = [
        ("darkest corner", _worst),
        ("darker from the middle towards", _lopsided),
        ("1 stop at a radius of", lambda f: _usable(f, 1)),
        ("2 stops at a radius of", lambda f: _usable(f, 2)),
        ("3 stops at a radius of", lambda f: _usable(f, 3)),
        ("light ends abruptly, radius", _edge),
        ("cut off", _cut),
        ("bright spot in the middle", _spot),
        ("the panel's own light spans", _panel),
    ]
    rows = [[name, *(said(setting.falloff) or NOT_MEASURED for setting in shown)] for name, said in lines]
    kept = [row for row in rows if any(cell != NOT_MEASURED for cell in row[1:])]
    return Table("The shape of the light", ["what", *_names(shown)], kept, words=1 + len(shown))


def _worst(falloff: Falloff) -> str | None:
    worst = falloff.worst_corner
    if worst is None and not falloff.covers_frame:
        return "black, more than 8 stops"
    return worst and f"{sentences.corner_name(worst.zone)}, {with_interval(worst.stops)}"


def _lopsided(falloff: Falloff) -> str | None:
    arrow = falloff.lopsided
    if arrow is None:
        return None
    size = arrow.size_stops
    if size.low <= 0:
        return f"no side (within {number(max(size.high, 0.01), 2)} stop)"
    return f"{arrow.darker_at}, {with_interval(size)}"


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


def _edge(falloff: Falloff) -> str | None:
    edge = falloff.coverage.image_circle if falloff.coverage else None
    if edge is None:
        return None
    radius = edge.radius_mm or edge.radius_px
    return with_interval(radius) if radius else f"within {with_interval(edge.width_px)}"


def _cut(falloff: Falloff) -> str | None:
    corners = _cut_corners(falloff)
    cut = (f"{sentences.corner_name(corner.zone)} {corner.cut_percent.value:.0f} %" for corner in corners)
    return "; ".join(cut) or None


def _spot(falloff: Falloff) -> str | None:
    spot = falloff.hot_spot
    return spot and f"{with_interval(spot.percent)}, left out"


def _panel(falloff: Falloff) -> str | None:
    panel = falloff.panel
    if panel is None or panel.unevenness_stops is None:
        return None
    return f"{with_interval(panel.unevenness_stops)}, taken off"
