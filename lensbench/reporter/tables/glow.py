"""Tables of glow: by aperture, and by zone and colour."""

from __future__ import annotations

from lensbench.findings import Glow, Report
from lensbench.formatting import NOT_MEASURED, with_interval
from lensbench.reporter.tables.table import Table, zone_rows
from lensbench.reporter.values.glow import glows_of
from lensbench.verdicts.zones import whole_frame


def glow_tables(report: Report) -> list[Table]:
    """The whole frame's glow by aperture, then each setting's by zone and colour."""
    by_zone = [_by_zone(setting.name, glow) for setting, glow in glows_of(report)]
    return [_by_aperture(report), *by_zone] if by_zone else []


def _by_aperture(report: Report) -> Table:
    rows = []
    for setting, glow in glows_of(report):
        frame = whole_frame(glow)
        figures = (frame.glow_percent, frame.width_px, frame.width_um) if frame else (None,) * 3
        from_px = f"{frame.from_px:.1f} to {glow.reach_px:.0f}" if frame else NOT_MEASURED
        rows.append([setting.name, from_px, *(with_interval(figure, unit=False) for figure in figures)])
    head = ["aperture", "counted from … to, px", "glow, %", "half within, px", "half within, µm"]
    return Table("Glow over the whole frame: light far from an edge, besides diffraction's", head, rows)


def _by_zone(name: str, glow: Glow) -> Table:
    channels = list(dict.fromkeys(zone.channel for zone in glow.zones))
    columns = [{z.zone: z.glow_percent for z in glow.zones if z.channel == channel} for channel in channels]
    whole = ["whole frame", *(with_interval(column.get("frame"), unit=False) for column in columns)]
    return Table(f"Glow by zone at {name}, percent", ["zone", *channels], [whole, *zone_rows(columns)])
