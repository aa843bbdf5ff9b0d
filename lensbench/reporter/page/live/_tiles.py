"""The tiles of one setting: where each lies, its picture, its edges as found, and why an edge was left out."""

from __future__ import annotations

import base64
from collections import defaultdict
from collections.abc import Sequence
from typing import Any, Protocol

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY
from lensbench.findings import EdgeSharpness, Report, Setting
from lensbench.formatting import with_interval
from lensbench.reporter.page.live._curves import thousandths
from lensbench.reporter.page.live._shapes import place_on_map
from lensbench.reporter.tile_view import TileView
from lensbench.reporter.values.sharpness import per_cycle, sharpness_unit, shown_channel

MOST_BYTES = 4_500_000
"""Room for pictures on the page: with their coding as text (4 characters for 3 bytes) well within 8 MB."""

BLADE = "blade"

_Views = dict[tuple[str, int, int], TileView]


class _AtTile(Protocol):
    @property
    def column(self) -> int: ...
    @property
    def row(self) -> int: ...


def tile_key(tile: _AtTile) -> str:
    """What a tile is found by: its column and row in the layout."""
    return f"{tile.column},{tile.row}"


def pictures_within(report: Report, views: Sequence[TileView], most: int = MOST_BYTES) -> _Views:
    """The pictures of tiles that the report has figures of, as many as there is room for.

    Where there are too many, every second, third … tile of each shot keeps its picture.
    """
    shown = {e.shot for s in report.settings if s.sharpness for e in s.sharpness.edges}
    wanted = [view for view in views if view.shot in shown]
    every = -(-sum(len(view.picture) for view in wanted) // most) or 1
    return {
        (view.shot, view.column, view.row): view
        for view in wanted
        if (view.column + view.row * (1 + every // 2)) % every == 0
    }


def tiles_of(report: Report, setting: Setting, pictures: _Views) -> list[dict[str, Any]]:
    """Every tile of which an edge was looked for, row by row."""
    channel = shown_channel(setting)
    edges: dict[tuple[int, int], list[EdgeSharpness]] = defaultdict(list)
    for edge in setting.sharpness.edges if setting.sharpness else []:
        if edge.leg != BLADE:
            edges[edge.row, edge.column].append(edge)
    return [_tile(report, own, channel, pictures) for _, own in sorted(edges.items())]


def _tile(report: Report, edges: list[EdgeSharpness], channel: str, pictures: _Views) -> dict[str, Any]:
    first, size = edges[0], report.camera.size_px
    x, y = (sum(getattr(e, axis) for e in edges) / len(edges) for axis in "xy")
    view = next((v for e in edges if (v := pictures.get((e.shot, e.column, e.row)))), None)
    own = [edge for edge in edges if edge.channel == channel and edge.shot == first.shot]
    tile: dict[str, Any] = {
        "id": tile_key(first),
        "at": place_on_map(x, y, size),
        "zone": frame.zone_of(x, y, size),
        "shot": first.shot,
        "edges": [_edge(report, edge) for edge in own],
    }
    if view:
        tile["picture"] = {
            "src": f"data:image/jpeg;base64,{base64.b64encode(view.picture).decode()}",
            "size": view.size_px,
            "lines": {edge.leg: [*edge.start, *edge.end] for edge in view.edges},
        }
        tile["curves"] = {edge.leg: thousandths(FREQUENCY, edge.mtf)[::2] for edge in view.edges if edge.mtf}
    return tile


def _edge(report: Report, edge: EdgeSharpness) -> dict[str, str]:
    """One edge in words: its leg, the way it runs, its figure, and why it has none or was left out."""
    said = {"leg": edge.leg, "direction": edge.direction}
    if edge.mtf50:
        said["mtf50"] = with_interval(edge.mtf50.scaled(per_cycle(report), sharpness_unit(report)))
    if not edge.used and edge.reason:
        by = f" (by {abs(edge.deviation_percent)} %)" if edge.deviation_percent else ""
        said["left_out"] = f"{edge.reason.value}{by}"
    return said
