"""Tables of lateral colour by zone."""

from __future__ import annotations

from lensbench.findings import Fringing, Report
from lensbench.reporter.tables.table import Table, zone_rows


def fringing_tables(report: Report) -> list[Table]:
    """Red and blue against green by zone, a table a setting."""
    return [
        _by_zone(setting.name, setting.fringing)
        for setting in report.settings
        if setting.fringing and setting.fringing.zones
    ]


def _by_zone(name: str, fringing: Fringing) -> Table:
    columns = [
        {zone.zone: getattr(zone, part) for zone in fringing.zones if zone.channel == channel}
        for channel in ("red", "blue")
        for part in ("radial_px", "around_px")
    ]
    head = ["zone", *["outward", "around"] * 2]
    caption = f"Red and blue against green at {name}, px"
    return Table(caption, head, zone_rows(columns, signed=True), [("red", 2), ("blue", 2)])
