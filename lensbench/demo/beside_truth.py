"""A report held against what is true of the shots it was made from: the demo's own check.

The truth is what the simulator says that a perfect measurement would find. Figures are compared at the very places
that were measured: an edge with its own truth, a zone with the mean truth over the tiles that made its figure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from lensbench.findings import NORMAL_95, Figure, Mark, Report, Setting
from lensbench.formatting import holds
from lensbench.frame import zone_of
from lensbench.simulator.dirt import MarkTruth
from lensbench.simulator.flat_shot import FlatTruth
from lensbench.simulator.session import Truth
from lensbench.simulator.target_shot import TargetTruth
from lensbench.simulator.zones import falloff_by_zone
from lensbench.target.layout import LEGS

SHOWN_ZONES = ("centre", "corner top-left", "corner top-right", "corner bottom-right", "corner bottom-left")
"""The zones that stand in the table; the statistics are over all."""

PLAIN_MARK = {"width_px": 5.0, "spot": 0.5, "fibre": 0.5, "patch": 1.0, "signal_to_noise": 8.0}
"""Marks that must be found: least width, depth in percent by kind, and signal to noise."""


@dataclass(frozen=True)
class Beside:
    """One measured figure beside the truth."""

    setting: str
    what: str
    measured: Figure
    true: float

    @property
    def within(self) -> bool:
        """Whether the truth lies in the figure's interval, as printed."""
        return holds(self.measured, self.true)


@dataclass(frozen=True)
class Bar:
    """How well all figures of a kind agree with the truth, beside the bar set for them: least or most allowed."""

    setting: str
    what: str
    found: float
    least: float
    most: float
    unit: str

    @property
    def reached(self) -> bool:
        """Whether the bar is reached."""
        return self.least <= self.found <= self.most


def compare(report: Report, truths: Mapping[str, Truth]) -> tuple[list[Beside], list[Bar]]:
    """Hold every setting of a report against the truth of its shots.

    Parameters
    ----------
    report : Report
        Of one target shot and one flat a setting.
    truths : mapping of str to TargetTruth or FlatTruth
        By the shots' file names.

    Returns
    -------
    list of Beside
        Some figures of every kind beside the truth.
    list of Bar
        Statistics over all figures of a kind.
    """
    beside: list[Beside] = []
    bars: list[Bar] = []
    for setting in report.settings:
        for name in setting.shots:
            truth = truths[name]
            if isinstance(truth, TargetTruth):
                beside += _target_beside(setting, truth)
                bars += _edge_bars(setting, truth)
                bars += _lateral_bars(setting, truth)
            else:
                beside += _flat_beside(setting, truth, report.camera.size_px)
                bars += _flat_bars(setting, truth)
    return beside, bars


# -- the target's shots ---------------------------------------------------------------------------------------


def _places(truth: TargetTruth) -> dict[tuple[int, int], int]:
    return {place: i for i, place in enumerate(zip(truth.column.tolist(), truth.row.tolist(), strict=True))}


def _target_beside(setting: Setting, truth: TargetTruth) -> Iterator[Beside]:
    label = setting.label
    for zone in setting.sharpness.zones:
        if zone.zone in SHOWN_ZONES and zone.channel == "green" and zone.direction != "mean":
            true = _zone_truth(setting, truth, zone.zone, zone.direction)
            if true is not None:
                yield Beside(label, f"MTF50 {zone.zone}, {zone.direction}", zone.mtf50, true)
    for zone in setting.fringing.zones:
        if zone.zone in SHOWN_ZONES[1:] and zone.channel in truth.lateral_px:
            true = _zone_lateral(setting, truth, zone.zone, zone.channel)
            if true is not None:
                yield Beside(label, f"{zone.channel} outward, {zone.zone}", zone.radial_px, true)
    if setting.magnification is not None:
        yield Beside(label, "magnification", setting.magnification, truth.magnification)


def _zone_truth(setting: Setting, truth: TargetTruth, zone: str, direction: str) -> float | None:
    """The mean truth over the tiles whose figures went into a zone's."""
    values = getattr(truth.edges, f"{direction}_mtf50")["green"]
    place = _places(truth)
    used = [
        place[tile.column, tile.row]
        for tile in setting.sharpness.tiles
        if tile.channel == "green"
        and tile.used
        and getattr(tile, direction) is not None
        and zone_of(tile.x, tile.y, truth.size) == zone
    ]
    return float(values[used].mean()) if used else None


def _zone_lateral(setting: Setting, truth: TargetTruth, zone: str, channel: str) -> float | None:
    """The mean truth outward over the tiles of a zone, vague tiles counting for less, as in its figure."""
    place = _places(truth)
    shifts = [
        (place[tile.column, tile.row], getattr(tile, channel).radial_px.half_width ** 2)
        for tile in setting.fringing.tiles
        if getattr(tile, channel) is not None and zone_of(tile.x, tile.y, truth.size) == zone
    ]
    if not shifts:
        return None
    at, variance = np.array(shifts).T
    weight = 1 / (variance + np.median(variance))
    return float(np.average(truth.radial_around_px(channel)[at.astype(int), 0], weights=weight))


def _edge_bars(setting: Setting, truth: TargetTruth) -> Iterator[Bar]:
    """Bias and spread of every edge's MTF50 in each colour, and how often its interval holds the truth."""
    place = _places(truth)
    for channel, bias, spread in (("green", 0.3, 0.6), ("red", 0.5, 1.2), ("blue", 0.5, 1.2)):
        edges = [e for e in setting.sharpness.edges if e.used and e.mtf50 and e.channel == channel]
        tiles = [place[e.column, e.row] for e in edges]
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
        yield Bar(setting.label, f"{what}: bias", float(np.median(off)), -bias, bias, "%")
        yield Bar(setting.label, f"{what}: spread", _spread(off), 0.0, spread, "%")
        yield Bar(setting.label, f"{what}: intervals that hold", float(held), *_coverage(len(off)), "%")


def _coverage(count: int) -> tuple[float, float]:
    """How often 95 % intervals may hold the truth: 93–97 %, wider where so few edges can't tell."""
    chance = 100 * NORMAL_95 * np.sqrt(0.95 * 0.05 / count)
    return 95 - max(2.0, 2 * chance), min(95 + max(2.0, 2 * chance), 100.0)


def _spread(off: NDArray) -> float:
    """The standard deviation, from the middle two thirds: a lone odd edge is no spread."""
    low, high = np.percentile(off, (15.87, 84.13))
    return float(high - low) / 2


def _lateral_bars(setting: Setting, truth: TargetTruth) -> Iterator[Bar]:
    """Bias and spread of lateral colour over all tiles, those that the border cuts among them, outward."""
    place = _places(truth)
    for channel in truth.lateral_px:
        tiles = [tile for tile in setting.fringing.tiles if getattr(tile, channel) is not None]
        at = np.array([place[tile.column, tile.row] for tile in tiles], dtype=int)
        if len(at) < 2:
            continue
        measured = np.array([getattr(tile, channel).radial_px.value for tile in tiles])
        off = measured - truth.radial_around_px(channel)[at, 0]
        what = f"{channel} against green at {len(off)} tiles"
        yield Bar(setting.label, f"{what}: bias", float(np.median(off)), -0.01, 0.01, "px")
        yield Bar(setting.label, f"{what}: spread", _spread(off), 0.0, 0.02, "px")


# -- the flats ------------------------------------------------------------------------------------------------


def _flat_beside(setting: Setting, truth: FlatTruth, size: tuple[int, int]) -> Iterator[Beside]:
    if setting.falloff is None:
        return
    true = falloff_by_zone(truth, "green", size)
    for zone in setting.falloff.zones:
        if zone.zone in SHOWN_ZONES[1:]:
            yield Beside(setting.label, f"falloff, {zone.zone}", zone.stops, true[zone.zone])


def _flat_bars(setting: Setting, truth: FlatTruth) -> Iterator[Bar]:
    if setting.falloff is not None:
        off = _falloff_off(setting, truth)
        yield Bar(
            setting.label, "falloff over the frame: rms", float(np.sqrt(np.mean(off**2))), 0.0, 0.01, "stops"
        )
    if setting.dust is not None:
        plain = [mark for mark in truth.marks if is_plain(mark)]
        found = sum(any(is_same(mark, seen) for seen in setting.dust.marks) for mark in plain)
        false = sum(not any(is_same(mark, seen) for mark in truth.marks) for seen in setting.dust.marks)
        yield Bar(setting.label, "dirt marks found", float(found), float(len(plain)), float(len(plain)), "")
        yield Bar(setting.label, "false marks", float(false), 0.0, 0.0, "")


def _falloff_off(setting: Setting, truth: FlatTruth) -> NDArray:
    """The measured map less the true one, at the true one's places."""
    grid = setting.falloff.grid
    stops = np.array([[np.nan if v is None else v for v in row] for row in grid.stops])
    y, x = np.meshgrid(truth.y, truth.x, indexing="ij")
    x, y = np.clip(x, grid.x[0], grid.x[-1]), np.clip(y, grid.y[0], grid.y[-1])
    off = RegularGridInterpolator((grid.y, grid.x), stops)((y, x)) - truth.stops["green"]
    return off[np.isfinite(off)]


def is_plain(mark: MarkTruth) -> bool:
    """Whether a mark is large, deep and clear enough that it must be found."""
    return (
        max(mark.width_px, mark.length_px) >= PLAIN_MARK["width_px"]
        and abs(mark.depth_percent) >= PLAIN_MARK[mark.kind]
        and mark.signal_to_noise >= PLAIN_MARK["signal_to_noise"]
    )


def is_same(mark: MarkTruth, seen: Mark) -> bool:
    """Whether a mark that was found is that of the truth: its middle lies on the shadow."""
    return float(np.hypot(seen.x - mark.x, seen.y - mark.y)) <= max(mark.length_px, mark.width_px) / 2 + 3
