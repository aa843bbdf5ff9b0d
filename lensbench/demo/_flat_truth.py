"""Falloff and dirt of one flat beside the truth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from lensbench.demo._statistics import SHOWN_ZONES, Beside, Statistic
from lensbench.findings import FalloffGrid, Mark, Setting
from lensbench.simulator.dirt import MarkTruth
from lensbench.simulator.flat_shot import FlatTruth
from lensbench.simulator.zones import falloff_by_zone

FALLOFF_ALLOWED_STOPS = 0.01
"""Allowed error of the falloff map, root mean square over the frame."""

MUST_BE_FOUND = {"width_px": 5.0, "spot": 0.5, "fibre": 0.5, "patch": 1.0, "signal_to_noise": 8.0}
"""Marks that must be found: least width, depth in percent by kind, and signal to noise."""


def flat_beside(setting: Setting, truth: FlatTruth, size: tuple[int, int]) -> Iterator[Beside]:
    """Falloff of the corner zones beside the truth."""
    if setting.falloff is None:
        return
    true = falloff_by_zone(truth, "green", size)
    for zone in setting.falloff.zones:
        if zone.zone in SHOWN_ZONES[1:]:
            yield Beside(setting.label, f"falloff, {zone.zone}", zone.stops, true[zone.zone])


def flat_statistics(setting: Setting, truth: FlatTruth) -> Iterator[Statistic]:
    """The falloff map's error, and how many marks were found, or found where none are."""
    if setting.falloff is not None:
        off = _falloff_off(setting.falloff.grid, truth)
        rms = float(np.sqrt(np.mean(off**2)))
        yield Statistic(setting.label, "falloff over the frame: rms", rms, 0.0, FALLOFF_ALLOWED_STOPS, "stops")
    if setting.dust is not None:
        yield from _mark_statistics(setting.label, setting.dust.marks, truth.marks)


def _falloff_off(grid: FalloffGrid, truth: FlatTruth) -> NDArray[np.float64]:
    """The measured map less the true one, at the true one's positions."""
    stops = np.array([[np.nan if v is None else v for v in row] for row in grid.stops])
    y, x = np.meshgrid(truth.y, truth.x, indexing="ij")
    x, y = np.clip(x, grid.x[0], grid.x[-1]), np.clip(y, grid.y[0], grid.y[-1])
    off = RegularGridInterpolator((grid.y, grid.x), stops)((y, x)) - truth.stops["green"]
    return off[np.isfinite(off)]


def _mark_statistics(label: str, marks: Sequence[Mark], true: Sequence[MarkTruth]) -> Iterator[Statistic]:
    clear = [mark for mark in true if must_be_found(mark)]
    found = sum(any(is_same(mark, seen) for seen in marks) for mark in clear)
    false = sum(not any(is_same(mark, seen) for mark in true) for seen in marks)
    yield Statistic(label, "dirt marks found", float(found), float(len(clear)), float(len(clear)), "")
    yield Statistic(label, "false marks", float(false), 0.0, 0.0, "")


def must_be_found(mark: MarkTruth) -> bool:
    """Whether a mark is large, deep and clear enough that it must be found."""
    return (
        max(mark.width_px, mark.length_px) >= MUST_BE_FOUND["width_px"]
        and abs(mark.depth_percent) >= MUST_BE_FOUND[mark.kind]
        and mark.signal_to_noise >= MUST_BE_FOUND["signal_to_noise"]
    )


def is_same(mark: MarkTruth, seen: Mark) -> bool:
    """Whether a mark that was found is that of the truth: its middle lies on the shadow."""
    return float(np.hypot(seen.x - mark.x, seen.y - mark.y)) <= max(mark.length_px, mark.width_px) / 2 + 3
