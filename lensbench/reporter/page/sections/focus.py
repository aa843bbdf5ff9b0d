"""Focus on the page, a setting with a series along the rail at a time."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import msgspec

from lensbench.findings import Focus, Report, Setting, Sharpness, ZoneSharpness
from lensbench.reporter.page.panels import Panel, bare_panel, frame_panels, scaled_panel
from lensbench.reporter.plots.field_side_on import ASPECT, VIEWS, draw_field_side_on
from lensbench.reporter.plots.through_focus import draw_through_focus
from lensbench.reporter.plots.zone_sharpness import draw_sharpness
from lensbench.reporter.tables.focus import focus_tables
from lensbench.reporter.tables.table import Table
from lensbench.reporter.values.focus import shown_zones
from lensbench.reporter.words.captions import sharpness_in_short
from lensbench.reporter.words.focus import focus_in_words

_MAPS = {
    "mtf50_at_best": "Each zone at its own best focus",
    "mtf50_at_centre": "With the centre in best focus",
}
"""The two zone maps of a series: what a flat, square field would give, and what a picture gets."""


@dataclass(frozen=True)
class FocusPart:
    """What the page shows of one setting's focus series."""

    name: str
    words: list[str]
    drawings: list[Panel]
    maps: list[Panel]
    tables: list[Table]


def focus_section(report: Report) -> list[FocusPart]:
    """The part of every setting with a series along the rail."""
    return [_part(report, setting, setting.focus) for setting in report.settings if setting.focus]


def _part(report: Report, setting: Setting, focus: Focus) -> FocusPart:
    through = scaled_panel(
        lambda axes: draw_through_focus(axes, report, setting), setting.name, "sharpness along the rail"
    )
    sides = [
        bare_panel(
            functools.partial(draw_field_side_on, report=report, setting=setting, view=view),
            setting.name,
            f"seen {view}",
            ASPECT,
        )
        for view in VIEWS
    ]
    maps = msgspec.structs.replace(report, settings=[_as_setting(focus, key, name) for key, name in _MAPS.items()])
    return FocusPart(
        name=setting.name,
        words=focus_in_words(report, setting),
        drawings=[through, *sides],
        maps=frame_panels(
            maps, bool, functools.partial(draw_sharpness, roomy=False), functools.partial(sharpness_in_short, maps)
        ),
        tables=focus_tables(report, focus, setting.name),
    )


def _as_setting(focus: Focus, key: str, name: str) -> Setting:
    """A series' zones at one focus as if a single shot had shown them."""
    zones = [
        ZoneSharpness(
            zone.zone, zone.channel, zone.direction, getattr(zone, key), getattr(zone, f"{key}_lp_mm"), zone.tiles
        )
        for zone in shown_zones(focus)
        if getattr(zone, key)
    ]
    return Setting(aperture=name, sharpness=Sharpness(zones=zones))


_draw_in_little_room = functools.partial(draw_sharpness, roomy=False)
