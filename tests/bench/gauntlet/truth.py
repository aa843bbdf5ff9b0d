"""What the honest shot shows, in closed form, and how far a report's figures lie off it, in half-widths."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.findings import EdgeSharpness, Figure, Report, Setting
from tests.bench.gauntlet.draft import PITCH_MM, SIZE, LensFrame
from tests.outside.renderer import COLOURS, LEGS, OutsideLens

RINGS, QUARTERS = (0.25, 0.55, 0.85), ("top-left", "top-right", "bottom-right", "bottom-left")
STEP, LIGHT_STEP = 20, 4
"""Pixels between the places that stand for a zone's area; light is cheap."""


class Off(NamedTuple):
    """A figure of a report and how far it is off the truth, over the half-width of its interval."""

    name: str
    half_widths: float
    figure: Figure
    truth: float


@lru_cache(maxsize=2)
def _places(step: int) -> tuple[NDArray[np.float64], NDArray[np.float64], list[str]]:
    """Places over the frame, their h, and the names of their zones, by the words of the design alone."""
    width, height = SIZE
    x, y = np.meshgrid(np.arange(0, width, step), np.arange(0, height, step))
    place = np.stack([x.ravel(), y.ravel()], axis=1) + (step - 1) / 2
    out = place - ((width - 1) / 2, (height - 1) / 2)
    h = np.linalg.norm(out, axis=1) / (np.hypot(width, height) / 2)
    rings = np.searchsorted(RINGS, h, side="right")
    right, below = out[:, 0] > 0, out[:, 1] > 0
    quarter = np.where(below, np.where(right, 2, 3), np.where(right, 1, 0))
    names = [
        "centre" if not r else f"{('inner', 'outer', 'corner')[r - 1]} {QUARTERS[q]}"
        for r, q in zip(rings, quarter, strict=True)
    ]
    return place, h, names


@lru_cache(maxsize=4)
def true_zones(lens: OutsideLens) -> dict[str, float]:
    """Zones' MTF50 by direction and colour, fringing by colour and falloff, as means over the zones' areas."""
    frame = LensFrame(lens)
    place, h, names = _places(STEP)
    sums: dict[str, list[float]] = {}
    for point, radius, zone in zip(place, h, names, strict=True):
        unit = (point - frame.centre) / max(radius * frame.half, 1e-9)
        across = np.array([-unit[1], unit[0]])
        for number, colour in enumerate(COLOURS):
            covariance = frame.covariance(point, number)
            # A sagittal edge runs along the radius: blur around the circle is what it shows.
            values = [_mtf50(covariance, normal) for normal in (across, unit)]
            for direction, value in zip(
                ("sagittal", "tangential", "mean"), (*values, np.mean(values)), strict=True
            ):
                sums.setdefault(f"mtf50 {zone} {colour} {direction}", []).append(float(value))
            sums.setdefault(f"fringing {zone} {colour}", []).append(lens.fringe_px[number] * radius**3)
    return {name: float(np.mean(values)) for name, values in sums.items()} | _true_falloff(lens)


def _true_falloff(lens: OutsideLens) -> dict[str, float]:
    _, h, names = _places(LIGHT_STEP)
    light, zone = 2.0 ** (-lens.falloff_stops * h**2), np.array(names)
    middle = light[h < 0.1].mean()
    return {f"falloff {name}": float(np.log2(middle / light[zone == name].mean())) for name in np.unique(zone)}


def _mtf50(covariance: NDArray, normal: NDArray) -> float:
    variance = float(normal @ covariance @ normal)
    a, b = (float(v) for v in normal)
    return float(
        brentq(
            lambda f: np.exp(-2 * np.pi**2 * variance * f * f) * np.sinc(f * a) * np.sinc(f * b) - 0.5, 1e-4, 0.7
        )
    )


def true_edges(
    edges: Sequence[EdgeSharpness], lens: OutsideLens, others: Mapping[str, OutsideLens]
) -> Iterator[tuple[EdgeSharpness, float]]:
    """The used edges of whole tiles with the MTF50 that the lens has where each tile was seen.

    By place, not by the tile's number: of another print, or a turned one, the lens is the same. An edge's figure
    is of its own shot: `others` has the lenses of those that were taken otherwise.
    """
    tiles: dict[tuple, list[EdgeSharpness]] = {}
    for edge in edges:
        if edge.used and edge.mtf50:
            tiles.setdefault((edge.shot, edge.column, edge.row, edge.channel), []).append(edge)
    for members in tiles.values():
        if len(members) == len(LEGS):
            frame = LensFrame(others.get(members[0].shot, lens))
            middle = np.mean([(edge.x, edge.y) for edge in members], axis=0)
            covariance = frame.covariance(middle, COLOURS.index(members[0].channel))
            for edge in members:
                angle = np.radians(edge.angle_deg)
                yield edge, _mtf50(covariance, np.array([np.sin(angle), np.cos(angle)]))


def deviations(
    report: Report,
    lens: OutsideLens,
    gaussian: bool = True,
    others: Mapping[str, OutsideLens] = MappingProxyType({}),
) -> Iterator[Off]:
    """How far each headline figure of a report is off the honest shot's truth.

    Of a lens whose blur is not Gaussian, MTF50 and the edges' places are in no closed form, and are left out.
    """
    for setting in report.settings:
        if gaussian:
            yield from _of_edges(setting, lens, others)
        zones = true_zones(lens)
        for light in setting.falloff.zones if setting.falloff else []:
            name = f"falloff {light.zone}"
            yield _off(name, light.stops, zones[name])
        if setting.magnification:
            yield _off("magnification", setting.magnification, lens.px_per_mm * PITCH_MM)
        if setting.geometry and setting.geometry.target_tilt_deg:
            yield _off("tilt", setting.geometry.target_tilt_deg, 0.0)


def _of_edges(setting: Setting, lens: OutsideLens, others: Mapping[str, OutsideLens]) -> Iterator[Off]:
    """Sharpness, fringing and distortion."""
    zones, sharpness, fringing = true_zones(lens), setting.sharpness, setting.fringing
    for zone in sharpness.zones if sharpness else []:
        name = f"mtf50 {zone.zone} {zone.channel} {zone.direction}"
        yield _off(name, zone.mtf50, zones[name])
    for edge, true in true_edges(sharpness.edges, lens, others) if sharpness else []:
        if edge.mtf50:
            yield _off(f"edge {edge.channel} {edge.leg} ({edge.column}, {edge.row})", edge.mtf50, true)
    for fringe in fringing.zones if fringing else []:
        name = f"fringing {fringe.zone} {fringe.channel}"
        yield _off(name, fringe.radial_px, zones[name])
        yield _off(f"{name} around", fringe.around_px, 0.0)
    if setting.geometry and setting.geometry.distortion_percent:
        yield _off("distortion", setting.geometry.distortion_percent, true_distortion_percent(lens))


def true_distortion_percent(lens: OutsideLens) -> float:
    """How much farther out the frame's corner shows a point than a lens without distortion would put it."""
    a, b = lens.bend
    ideal = brentq(lambda r: r * (1 + a * r**2 + b * r**4) - 1, 0.7, 1.4)
    return float(100 * (1 / ideal - 1))


def _off(name: str, figure: Figure, truth: float) -> Off:
    return Off(name, abs(figure.value - truth) / max(figure.half_width, 1e-12), figure, truth)
