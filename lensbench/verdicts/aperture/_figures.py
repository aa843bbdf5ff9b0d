"""What each aperture shows, one row an aperture, over all of its setups."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from lensbench import frame
from lensbench.figure import Figure
from lensbench.findings import ApertureFigures, Setting, ZoneLimits
from lensbench.optics import GREEN_NM, effective_f_number, quarter_wave_field
from lensbench.shot import reference_channel
from lensbench.verdicts.aperture._ranking import PARTS, mean_over_zones, over_setups, zone_shares
from lensbench.verdicts.goals import distance_from_green
from lensbench.verdicts.zones import mtf50_by_zone, whole_frame

Metric = dict[int, Figure]
"""One figure by the number of the setting, where it has it."""


def metrics_of(settings: Sequence[Setting], size: tuple[int, int], pupil_ratio: float) -> dict[str, Metric]:
    """The figures of all settings by their name in `ApertureFigures`."""
    zones = {number: known for number, setting in enumerate(settings) if (known := mtf50_by_zone(setting))}
    shared = set.intersection(*map(set, zones.values())) if zones else set()
    shares = zone_shares(size)
    corners = {zone: shares[zone] for zone in PARTS["corners"]} if shared.issuperset(PARTS["corners"]) else {}
    metrics: dict[str, Metric] = {
        "centre": {number: known["centre"] for number, known in zones.items() if "centre" in known},
        "corners": {number: mean_over_zones(known, corners) for number, known in zones.items() if corners},
        "evenness_percent": {
            number: _evenness([known[zone] for zone in frame.ZONES if zone in shared])
            for number, known in zones.items()
            if len(shared) > 1
        },
    }
    others: dict[str, Callable[[Setting], Figure | None]] = {
        "achieved_percent": lambda setting: _achieved(centre_limits(setting)),
        "fringing_px": _fringing,
        "falloff_stops": _falloff,
        "glow_percent": _glow,
        "depth_mm": lambda setting: _depth(setting, pupil_ratio),
    }
    for name, of in others.items():
        metrics[name] = {number: found for number, setting in enumerate(settings) if (found := of(setting))}
    return metrics


def figures_by_aperture(
    settings: Sequence[Setting], metrics: Mapping[str, Metric], pupil_ratio: float
) -> list[ApertureFigures]:
    """A row for each aperture, in the order of the settings."""
    groups: dict[str, list[int]] = {}
    for number, setting in enumerate(settings):
        groups.setdefault(setting.label, []).append(number)
    return [_row(label, numbers, settings, metrics, pupil_ratio) for label, numbers in groups.items()]


def _row(
    label: str,
    numbers: list[int],
    settings: Sequence[Setting],
    metrics: Mapping[str, Metric],
    pupil_ratio: float,
) -> ApertureFigures:
    joined = {name: _joined(metric, numbers) for name, metric in metrics.items()}
    chosen = [settings[number] for number in numbers]
    limits = next((limits for setting in chosen if (limits := centre_limits(setting))), None)
    possible = (limits.best_possible_mtf50_lp_mm or limits.best_possible_mtf50) if limits else None
    marks = [len(setting.dust.marks) for setting in chosen if setting.dust]
    measured = any(setting.focus for setting in chosen)
    return ApertureFigures(
        aperture=label,
        settings=numbers,
        effective_f_number=next((n for s in chosen if (n := _effective(s, pupil_ratio))), None),
        possible_mtf50=possible,
        marks=max(marks) if marks else None,
        depth_by=("measured" if measured else "rule") if joined["depth_mm"] else "",
        **joined,
    )


def _joined(metric: Metric, numbers: Sequence[int]) -> Figure | None:
    found = [metric[number] for number in numbers if number in metric]
    return over_setups(found)[0] if found else None


def _evenness(zones: Sequence[Figure]) -> Figure:
    """The softest zone in percent of the sharpest one."""
    ordered = sorted(zones, key=lambda figure: figure.value)
    return ratio_percent(ordered[0], ordered[-1])


def ratio_percent(part: Figure, whole: Figure) -> Figure:
    """One figure in percent of another, each with noise of its own."""
    value = 100 * part.value / whole.value
    return Figure.of(
        value, value * float(np.hypot(part.half_width / part.value, whole.half_width / whole.value)), "%"
    )


def centre_limits(setting: Setting) -> ZoneLimits | None:
    """The limits of a setting's centre, mean of directions, in the channel that speaks for sharpness."""
    zones = setting.limits.zones if setting.limits else []
    channel = reference_channel([zone.channel for zone in zones])
    rows = [zone for zone in zones if (zone.zone, zone.channel, zone.direction) == ("centre", channel, "mean")]
    return rows[0] if rows else None


def _achieved(limits: ZoneLimits | None) -> Figure | None:
    return limits.achieved_percent if limits else None


def _fringing(setting: Setting) -> Figure | None:
    zones = setting.fringing.zones if setting.fringing else []
    far = [distance_from_green(zone.radial_px, zone.around_px) for zone in zones]
    return max(far, key=lambda figure: figure.value, default=None)


def _falloff(setting: Setting) -> Figure | None:
    corner = setting.falloff.worst_corner if setting.falloff else None
    return corner.stops if corner else None


def _glow(setting: Setting) -> Figure | None:
    glow = whole_frame(setting.glow) if setting.glow else None
    return glow.glow_percent if glow else None


def _effective(setting: Setting, pupil_ratio: float) -> float | None:
    if setting.f_number is None or setting.magnification is None:
        return None
    return float(effective_f_number(setting.f_number, setting.magnification.value, pupil_ratio))


def _depth(setting: Setting, pupil_ratio: float) -> Figure | None:
    """Depth of field to either side: from the series along the rail, or by the quarter-wave rule."""
    if setting.focus is not None:
        return setting.focus.depth_mm
    if setting.f_number is None or setting.magnification is None or setting.magnification.low <= 0:
        return None
    m = setting.magnification
    value, high, low = (
        float(quarter_wave_field(setting.f_number, scale, GREEN_NM * 1e-6, pupil_ratio))
        for scale in (m.value, m.low, m.high)
    )
    return Figure(value, low, high, "mm")
