"""All that the page's script shows, put together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.colors import to_hex

from lensbench.findings import Report
from lensbench.reporter.page.live._curves import curves_of, flawless_curves
from lensbench.reporter.page.live._layers import QUANTITIES, Layer, layers_of, scale_ends
from lensbench.reporter.page.live._shapes import WIDTH, place_on_map, zone_shapes
from lensbench.reporter.page.live._tiles import pictures_within, tiles_of
from lensbench.reporter.plots import style
from lensbench.reporter.tile_view import TileView
from lensbench.reporter.values.apertures import sharpest_setting
from lensbench.reporter.values.dirt import mark_numbers, marks_of
from lensbench.reporter.values.sharpness import per_cycle, sharpness_unit, shown_channel

_COLOURS = 33


def live_map(report: Report, views: Sequence[TileView] = ()) -> dict[str, Any]:
    """Everything that can be pointed at on the map, as plain values that JSON holds.

    Parameters
    ----------
    report : Report
    views : sequence of TileView
        Pictures of tiles; as many are taken as the page has room for.

    Returns
    -------
    dict
        ``size`` of the map, ``colours`` of its scale, ``zones`` with their outlines, ``quantities`` with what can
        be chosen of each, ``settings`` with the figures, and the number of the one to ``start`` with: the sharpest
        over the frame, which the page names first. Empty where no setting has a figure by zone.
    """
    every = [layers_of(report, setting) for setting in report.settings]
    if not any(every):
        return {}
    ends = scale_ends(every)
    pictures = pictures_within(report, views)
    first = sharpest_setting(report)
    return {
        "size": [WIDTH, round(WIDTH * report.camera.size_px[1] / report.camera.size_px[0])],
        "colours": [to_hex(style.colour_of(k / (_COLOURS - 1))) for k in range(_COLOURS)],
        "zones": zone_shapes(report.camera.size_px),
        "quantities": [_quantity(name, every, ends) for name in _names(every)],
        "start": next((number for number, setting in enumerate(report.settings) if setting is first), 0),
        "curves": {"unit": sharpness_unit(report), "per_cycle": per_cycle(report)},
        "settings": [
            {
                "name": setting.name,
                "channel": shown_channel(setting),
                "layers": {layer.key: {"zones": layer.zones, "tiles": layer.tiles} for layer in layers},
                "curves": curves_of(setting),
                "flawless": flawless_curves(report, setting),
                "tiles": tiles_of(report, setting, pictures),
                "marks": _marks(report, number),
            }
            for number, (setting, layers) in enumerate(zip(report.settings, every, strict=True))
        ],
    }


def _names(every: Sequence[Sequence[Layer]]) -> list[str]:
    """The quantities that any setting has, in the order in which they are offered."""
    there = list(dict.fromkeys(layer.quantity for layers in every for layer in layers))
    order = list(QUANTITIES)
    return sorted(there, key=lambda name: order.index(name.split(" at ")[0]))


def _quantity(name: str, every: Sequence[Sequence[Layer]], ends: dict[str, float]) -> dict[str, Any]:
    own = [layer for layers in every for layer in layers if layer.quantity == name]
    return {
        "id": name,
        "name": own[0].title,
        "unit": own[0].unit,
        "end": ends[name],
        "more_is_better": QUANTITIES[name.split(" at ")[0]].more_is_better,
        "channels": list(dict.fromkeys(layer.channel for layer in own)),
        "directions": list(dict.fromkeys(layer.direction for layer in own)),
    }


def _marks(report: Report, setting_number: int) -> list[list[Any]]:
    """The marks of one setting: x, y on the map, and the mark's number in the session."""
    marks = marks_of(report.settings[setting_number])
    numbers = mark_numbers(report)[setting_number]
    return [
        [*place_on_map(mark.x, mark.y, report.camera.size_px), number]
        for mark, number in zip(marks, numbers, strict=True)
    ]
