"""The page's part on focus, a setting at a time, and its part on setups held against one another."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

import msgspec

from lensbench.findings import Figure, Focus, Repeated, Repeats, Report, Setting, Sharpness, ZoneSharpness
from lensbench.formatting import limit, spread, with_interval
from lensbench.reporter.page.drawings import Panel, panels
from lensbench.reporter.plots.focus import VIEWS, draw_side, draw_through
from lensbench.reporter.plots.sharpness import draw_sharpness, sharpness_unit
from lensbench.reporter.tables.page import Table, zone_rows
from lensbench.reporter.words import sentences
from lensbench.reporter.words.focus import focus_in_words, in_unit, repeats_in_words, repeats_name, shown_zones

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


@dataclass(frozen=True)
class RepeatsPart:
    """What the page shows of one aperture's setups."""

    words: str
    tables: list[Table]


def focus_parts(report: Report) -> list[FocusPart]:
    """The part of every setting with a series along the rail."""
    return [_part(report, setting) for setting in report.settings if setting.focus]


def _part(report: Report, setting: Setting) -> FocusPart:
    alone = msgspec.structs.replace(report, settings=[setting])
    through = panels(
        alone, _always, draw_through, lambda s: "sharpness along the rail", aspect=1.45, room=(0.3, 0.38)
    )
    sides = [
        panels(alone, _always, functools.partial(draw_side, view=view), lambda s, view=view: f"seen {view}", 1.16)
        for view in VIEWS
    ]
    at_focus = [_as_setting(setting.focus, key, name) for key, name in _MAPS.items()]
    maps = msgspec.structs.replace(report, settings=at_focus)
    return FocusPart(
        name=setting.name,
        words=focus_in_words(report, setting),
        drawings=[*through, *(panel for side in sides for panel in side)],
        maps=panels(maps, _always, draw_sharpness, functools.partial(sentences.sharpness_in_short, maps)),
        tables=_tables(report, setting),
    )


def _always(setting: Setting) -> bool:
    return True


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


def _tables(report: Report, setting: Setting) -> list[Table]:
    """Best focus by zone and direction, and the zones' sharpness there and in a picture."""
    rows, name = shown_zones(setting.focus), setting.name
    place = [
        _column((z.zone, z.best_mm) for z in rows if z.direction == way) for way in ("sagittal", "tangential")
    ]
    sharp = [_column((z.zone, in_unit(report, z)[k]) for z in rows if z.direction == "mean") for k in (0, 1)]
    caption = f"Best focus at {name}, mm from the centre's (farther positive)"
    return [
        Table(caption, ["zone", "sagittal", "tangential"], zone_rows(place, signed=True)),
        Table(
            f"MTF50 in {sharpness_unit(report)} at {name}",
            ["zone", "at its own best focus", "at the centre's"],
            zone_rows(sharp),
        ),
    ]


def _column(cells: Iterable[tuple[str, Figure | None]]) -> dict[str, Figure]:
    return {zone: figure for zone, figure in cells if figure}


# -- repeats --------------------------------------------------------------------------------------------------


def repeats_parts(report: Report) -> list[RepeatsPart]:
    """The part of every aperture that was set up several times."""
    return [RepeatsPart(repeats_in_words(repeats), _repeats_tables(repeats)) for repeats in report.repeats]


def _repeats_tables(repeats: Repeats) -> list[Table]:
    """A table for each kind of figure and colour: mean, spread, a shot's noise, and how far builds must differ."""
    kinds: dict[tuple[str, str], list[Repeated]] = {}
    for row in repeats.figures:
        kinds.setdefault((row.what, row.channel), []).append(row)
    where = f"over {len(repeats.setups)} setups at {repeats_name(repeats)}"
    head = ["zone", "mean", "spread", "shot's noise", "differ by"]
    return [
        Table(
            f"{_TITLES[what].format(channel)} {where}, {rows[0].mean.unit}", head, [_repeats_row(r) for r in rows]
        )
        for (what, channel), rows in kinds.items()
    ]


_TITLES = {"sharpness": "MTF50, {}", "fringing": "Outward fringing of {}", "falloff": "Falloff{}"}


def _repeats_row(row: Repeated) -> list[str]:
    return [
        row.zone.replace("-", " "),
        with_interval(row.mean, unit=False),
        f"{spread(row.spread.value)} ({spread(row.spread.low)} to {spread(row.spread.high)})",
        f"± {spread(row.shot_half_width)}",
        f"> {limit(row.smallest_difference)}",
    ]
