"""Sharpness, lateral colour and magnification of one target shot beside the truth."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lensbench.demo._statistics import SHOWN_ZONES, Beside, Statistic, allowed_coverage, spread
from lensbench.findings import Fringing, Setting, Sharpness
from lensbench.frame import zone_of
from lensbench.simulator.target_shot import TargetTruth
from lensbench.target.layout import LEGS

MTF50_ALLOWED = {"green": (0.3, 0.6), "red": (0.5, 1.2), "blue": (0.5, 1.2)}
"""Allowed bias and spread of one edge's MTF50 in percent, from 0.04 to 0.40 cycles a pixel."""

LATERAL_ALLOWED_PX = (0.01, 0.02)
"""Allowed bias and spread of one tile's lateral colour."""


def target_beside(setting: Setting, truth: TargetTruth) -> Iterator[Beside]:
    """Some figures of every kind beside the truth."""
    if setting.sharpness is not None:
        yield from _sharpness_beside(setting.label, setting.sharpness, truth)
    if setting.fringing is not None:
        yield from _fringing_beside(setting.label, setting.fringing, truth)
    if setting.magnification is not None:
        yield Beside(setting.label, "magnification", setting.magnification, truth.magnification)


def target_statistics(setting: Setting, truth: TargetTruth) -> Iterator[Statistic]:
    """Bias, spread and coverage over all edges, bias and spread over all tiles."""
    if setting.sharpness is not None:
        yield from _edge_statistics(setting.label, setting.sharpness, truth)
    if setting.fringing is not None:
        yield from _lateral_statistics(setting.label, setting.fringing, truth)


def _number_of_tile(truth: TargetTruth) -> dict[tuple[int, int], int]:
    """The truth's number of each tile by column and row."""
    return {tile: i for i, tile in enumerate(zip(truth.column.tolist(), truth.row.tolist(), strict=True))}


def _sharpness_beside(label: str, sharpness: Sharpness, truth: TargetTruth) -> Iterator[Beside]:
    for zone in sharpness.zones:
        if zone.zone in SHOWN_ZONES and zone.channel == "green" and zone.direction != "mean":
            true = _zone_mtf50(sharpness, truth, zone.zone, zone.direction)
            if true is not None:
                yield Beside(label, f"MTF50 {zone.zone}, {zone.direction}", zone.mtf50, true)


def _fringing_beside(label: str, fringing: Fringing, truth: TargetTruth) -> Iterator[Beside]:
    for zone in fringing.zones:
        if zone.zone in SHOWN_ZONES[1:] and zone.channel in truth.lateral_px:
            true = _zone_lateral(fringing, truth, zone.zone, zone.channel)
            if true is not None:
                yield Beside(label, f"{zone.channel} outward, {zone.zone}", zone.radial_px, true)


def _zone_mtf50(sharpness: Sharpness, truth: TargetTruth, zone: str, direction: str) -> float | None:
    """The mean truth over the tiles whose figures went into a zone's."""
    values = getattr(truth.edges, f"{direction}_mtf50")["green"]
    number = _number_of_tile(truth)
    used = [
        number[tile.column, tile.row]
        for tile in sharpness.tiles
        if tile.channel == "green"
        and tile.used
        and getattr(tile, direction) is not None
        and zone_of(tile.x, tile.y, truth.size) == zone
    ]
    return float(values[used].mean()) if used else None


def _zone_lateral(fringing: Fringing, truth: TargetTruth, zone: str, channel: str) -> float | None:
    """The mean truth outward over the tiles of a zone, weighted as in its figure."""
    number = _number_of_tile(truth)
    shifts = [
        (number[tile.column, tile.row], getattr(tile, channel).radial_px.half_width ** 2)
        for tile in fringing.tiles
        if getattr(tile, channel) is not None and zone_of(tile.x, tile.y, truth.size) == zone
    ]
    if not shifts:
        return None
    at, variance = np.array(shifts).T
    weight = 1 / (variance + np.median(variance))
    return float(np.average(truth.radial_around_px(channel)[at.astype(int), 0], weights=weight))


def _edge_statistics(label: str, sharpness: Sharpness, truth: TargetTruth) -> Iterator[Statistic]:
    """Bias and spread of every edge's MTF50 in each colour, and how often its interval holds the truth."""
    number = _number_of_tile(truth)
    for channel, (bias, most_spread) in MTF50_ALLOWED.items():
        edges = [e for e in sharpness.edges if e.used and e.mtf50 and e.channel == channel]
        tiles = [number[e.column, e.row] for e in edges]
        true = truth.edges.mtf50[channel][tiles, [LEGS.index(e.leg) for e in edges]]
        inside = truth.whole[tiles] & (true >= 0.04) & (true <= 0.4)
        if inside.sum() < 2:
            continue
        value, low, high = (
            np.array([getattr(e.mtf50, end) for e in edges])[inside] for end in ("value", "low", "high")
        )
        off = 100 * (value / true[inside] - 1)
        held = 100 * np.mean((low <= true[inside]) & (true[inside] <= high))
        what = f"MTF50 of {len(off)} {channel} edges"
        yield Statistic(label, f"{what}: bias", float(np.median(off)), -bias, bias, "%")
        yield Statistic(label, f"{what}: spread", spread(off), 0.0, most_spread, "%")
        yield Statistic(label, f"{what}: intervals that hold", float(held), *allowed_coverage(len(off)), unit="%")


def _lateral_statistics(label: str, fringing: Fringing, truth: TargetTruth) -> Iterator[Statistic]:
    """Bias and spread of lateral colour over all tiles, those that the border cuts among them, outward."""
    number = _number_of_tile(truth)
    bias, most_spread = LATERAL_ALLOWED_PX
    for channel in truth.lateral_px:
        tiles = [tile for tile in fringing.tiles if getattr(tile, channel) is not None]
        at = np.array([number[tile.column, tile.row] for tile in tiles], dtype=int)
        if len(at) < 2:
            continue
        measured = np.array([getattr(tile, channel).radial_px.value for tile in tiles])
        off = measured - truth.radial_around_px(channel)[at, 0]
        what = f"{channel} against green at {len(off)} tiles"
        yield Statistic(label, f"{what}: bias", float(np.median(off)), -bias, bias, "px")
        yield Statistic(label, f"{what}: spread", spread(off), 0.0, most_spread, "px")
