"""The figures of one setting by quantity, colour and direction: what the map can be coloured by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from lensbench.findings import Figure, Fringing, Report, Setting
from lensbench.formatting import brief, with_interval
from lensbench.frame import ZONES
from lensbench.reporter.page.live._tiles import tile_key
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.values.fringing import distance
from lensbench.reporter.values.sharpness import per_cycle, sharpness_unit


class Quantity(NamedTuple):
    """What a figure is called on the map, and whether more of it is better."""

    title: str
    more_is_better: bool


QUANTITIES = {
    "mtf50": Quantity("Sharpness (MTF50)", True),
    "possible": Quantity("Share of the best possible", True),
    "contrast": Quantity("Contrast", True),
    "glow": Quantity("Glow", False),
    "fringing": Quantity("Colour fringing", False),
    "falloff": Quantity("Falloff", False),
    "dark": Quantity("Light in the dark tiles", False),
}
"""What the map can show, in the order in which it is offered; ``contrast at 10 lp/mm`` goes by its first word."""

BOTH = "both directions"
DISTANCE = "distance"

Cell = tuple[float, str, str]
"""A figure's value, as the map shows it, and with its interval."""


@dataclass(frozen=True)
class Layer:
    """One quantity in one colour and direction: its figures by zone, and by tile where tiles have their own."""

    quantity: str
    title: str
    unit: str
    channel: str = ""
    direction: str = ""
    zones: dict[str, Cell] = field(default_factory=dict)
    tiles: dict[str, Cell] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """What the layer is found by."""
        return f"{self.quantity}|{self.channel}|{self.direction}"


def layers_of(report: Report, setting: Setting) -> list[Layer]:
    """All layers of one setting that have a figure."""
    every = [*_sharpness(report, setting), *_possible(setting), *_contrast(report, setting)]
    every += [*_glow(setting), *_fringing(setting.fringing), *_falloff(setting), *_dark(setting)]
    return [layer for layer in every if layer.zones or layer.tiles]


def scale_ends(every: Sequence[Sequence[Layer]]) -> dict[str, float]:
    """Where each quantity's colour scale ends: the same for all settings, colours and directions."""
    most: dict[str, float] = {}
    for layers in every:
        for layer in layers:
            size = max(abs(cell[0]) for cell in layer.zones.values() or layer.tiles.values())
            most[layer.quantity] = max(most.get(layer.quantity, 0.0), size)
    return {name: 100.0 if _is_share(name) else nice_ceiling(max(size, 1e-6)) for name, size in most.items()}


def _is_share(quantity: str) -> bool:
    return quantity == "possible" or quantity.startswith("contrast")


def _cell(figure: Figure) -> Cell:
    return float(f"{figure.value:.5g}"), brief(figure), with_interval(figure)


def _sharpness(report: Report, setting: Setting) -> Iterator[Layer]:
    sharpness, unit = setting.sharpness, sharpness_unit(report)
    if sharpness is None:
        return
    for channel in dict.fromkeys(zone.channel for zone in sharpness.zones):
        for direction in ("mean", "sagittal", "tangential"):
            zones = {
                zone.zone: _cell(zone.mtf50_lp_mm if unit == "lp/mm" and zone.mtf50_lp_mm else zone.mtf50)
                for zone in sharpness.zones
                if (zone.channel, zone.direction) == (channel, direction)
            }
            tiles = {}
            for tile in sharpness.tiles:
                known = _of_tile(tile.sagittal, tile.tangential, direction)
                if tile.channel == channel and known:
                    tiles[tile_key(tile)] = _cell(known.scaled(per_cycle(report), unit))
            yield Layer("mtf50", QUANTITIES["mtf50"].title, unit, channel, _way(direction), zones, tiles)


def _of_tile(sagittal: Figure | None, tangential: Figure | None, direction: str) -> Figure | None:
    """A tile's figure; the mean of both directions as unsure as if both erred the same way, since they may."""
    if direction != "mean":
        return sagittal if direction == "sagittal" else tangential
    if sagittal is None or tangential is None:
        return None
    half = (sagittal.half_width + tangential.half_width) / 2
    return Figure.of((sagittal.value + tangential.value) / 2, half, sagittal.unit)


def _way(direction: str) -> str:
    return BOTH if direction == "mean" else direction


def _possible(setting: Setting) -> Iterator[Layer]:
    rows = setting.limits.zones if setting.limits else []
    for channel, direction in dict.fromkeys((row.channel, row.direction) for row in rows):
        zones = {
            row.zone: _cell(row.achieved_percent)
            for row in rows
            if (row.channel, row.direction) == (channel, direction) and row.achieved_percent
        }
        yield Layer("possible", QUANTITIES["possible"].title, "%", channel, _way(direction), zones)


def _contrast(report: Report, setting: Setting) -> Iterator[Layer]:
    rows = setting.sharpness.zones if setting.sharpness else []
    chosen = dict.fromkeys((c.frequency, c.unit) for row in rows for c in row.contrast)
    for frequency, unit in chosen:
        if unit != sharpness_unit(report):
            continue
        name = f"{frequency:g} {unit}"
        for channel, direction in dict.fromkeys((row.channel, row.direction) for row in rows):
            zones = {
                row.zone: _cell(c.mtf.scaled(100, "%"))
                for row in rows
                if (row.channel, row.direction) == (channel, direction)
                for c in row.contrast
                if (c.frequency, c.unit) == (frequency, unit)
            }
            yield Layer(f"contrast at {name}", f"Contrast at {name}", "%", channel, _way(direction), zones)


def _glow(setting: Setting) -> Iterator[Layer]:
    rows = setting.glow.zones if setting.glow else []
    for channel in dict.fromkeys(row.channel for row in rows):
        zones = {row.zone: _cell(row.glow_percent) for row in rows if row.channel == channel and row.zone in ZONES}
        yield Layer("glow", QUANTITIES["glow"].title, "%", channel, zones=zones)


def _fringing(fringing: Fringing | None) -> Iterator[Layer]:
    if fringing is None:
        return
    for channel in ("red", "blue"):
        rows = [row for row in fringing.zones if row.channel == channel]
        tiles = {tile_key(t): shift for t in fringing.tiles if (shift := getattr(t, channel)) is not None}
        parts = {
            DISTANCE: ({r.zone: distance(r) for r in rows}, {}),
            "outward": ({r.zone: r.radial_px for r in rows}, {k: s.radial_px for k, s in tiles.items()}),
            "around": ({r.zone: r.around_px for r in rows}, {k: s.around_px for k, s in tiles.items()}),
        }
        for direction, (zones, own) in parts.items():
            yield Layer(
                "fringing", QUANTITIES["fringing"].title, "px", channel, direction,
                {name: _cell(figure) for name, figure in zones.items()},
                {name: _cell(figure) for name, figure in own.items()},
            )  # fmt: skip


def _falloff(setting: Setting) -> Iterator[Layer]:
    rows = setting.falloff.zones if setting.falloff else []
    yield Layer("falloff", QUANTITIES["falloff"].title, "stops", zones={r.zone: _cell(r.stops) for r in rows})


def _dark(setting: Setting) -> Iterator[Layer]:
    if setting.glare is None:
        return
    title = "Veiling glare" if setting.glare.ink_percent is not None else QUANTITIES["dark"].title
    zones = {row.zone: _cell(row.glare_percent or row.dark_percent) for row in setting.glare.zones}
    tiles = {tile_key(tile): _cell(tile.dark_percent) for tile in setting.glare.tiles}
    yield Layer("dark", title, "%", zones=zones, tiles={} if setting.glare.ink_percent is not None else tiles)
