"""The figures of one setup that builds are compared by: headlines of the whole picture, and zone by zone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from lensbench import frame
from lensbench.figure import Figure
from lensbench.findings import Setting
from lensbench.shot import reference_channel
from lensbench.verdicts.goals import distance_from_green

CORNERS = tuple(zone for zone in frame.ZONES if zone.startswith("corner"))


class Name(NamedTuple):
    """What a figure is of: as `Difference` names it."""

    what: str
    part: str
    channel: str = ""


Figures = dict[Name, Figure]


def zone_figures(setting: Setting, per_mm: bool) -> Figures:
    """Sharpness, fringing and falloff of every zone; sharpness in lp/mm or in cy/px."""
    return dict([*_sharpness(setting, per_mm), *_fringing(setting), *_falloff(setting)])


def headline_figures(setting: Setting, zones: Mapping[Name, Figure]) -> Figures:
    """The few figures that speak for the whole picture.

    Parameters
    ----------
    setting : Setting
        The setup.
    zones : mapping of Name to Figure
        Those of its zone figures that all setups share, so that each mean is over the same zones.
    """
    found: Figures = {}
    sharp = {name.part: figure for name, figure in zones.items() if name.what == "sharpness"}
    for part, members in (("frame", frame.ZONES), ("centre", ("centre",)), ("corners", CORNERS)):
        _put(found, Name("sharpness", part), [sharp[zone] for zone in members if zone in sharp])
    for side, far, near in (("softer right", "right", "left"), ("softer bottom", "bottom", "top")):
        softer = _softer(sharp, far, near)
        if softer is not None:
            found[Name(side, "frame")] = softer
    for channel in ("red", "blue"):
        own = [figure for name, figure in zones.items() if (name.what, name.channel) == ("fringing", channel)]
        _put(found, Name("fringing", "frame", channel), own)
    dark = [figure for name, figure in zones.items() if name.what == "falloff" and name.part in CORNERS]
    _put(found, Name("falloff", "corners"), dark)
    if setting.magnification:
        found[Name("magnification", "centre")] = setting.magnification
    if setting.geometry and setting.geometry.distortion_percent:
        found[Name("distortion", "corners")] = setting.geometry.distortion_percent
    return found


def _put(found: Figures, name: Name, members: list[Figure]) -> None:
    """Add the mean of some figures, their noise taken to be each its own, if there are any."""
    if members:
        value = float(np.mean([figure.value for figure in members]))
        half = math.sqrt(sum(figure.half_width**2 for figure in members)) / len(members)
        found[name] = Figure.of(value, half, members[0].unit)


def _softer(sharp: Mapping[str, Figure], far: str, near: str) -> Figure | None:
    """How much softer the outer zones of one side are than those across, in percent of their mean."""
    outer = {zone: figure for zone, figure in sharp.items() if zone.startswith(("outer", "corner"))}
    sides = [[figure for zone, figure in outer.items() if side in zone] for side in (far, near)]
    if not all(sides) or len(sides[0]) != len(sides[1]):
        return None
    means: Figures = {}
    for number, members in enumerate(sides):
        _put(means, Name("", str(number)), members)
    one, other = means.values()
    mean = (one.value + other.value) / 2
    half = math.hypot(one.half_width, other.half_width)
    return Figure.of(100 * (other.value - one.value) / mean, 100 * half / mean, "%")


def _sharpness(setting: Setting, per_mm: bool) -> Iterator[tuple[Name, Figure]]:
    if setting.focus:
        rows = [
            (row.zone, row.direction, row.channel, row.mtf50_at_centre_lp_mm if per_mm else row.mtf50_at_centre)
            for row in setting.focus.zones
        ]
    else:
        zones = setting.sharpness.zones if setting.sharpness else []
        rows = [(row.zone, row.direction, row.channel, row.mtf50_lp_mm if per_mm else row.mtf50) for row in zones]
    shown = reference_channel([channel for _, _, channel, _ in rows])
    for zone, direction, channel, figure in rows:
        if figure is not None and direction == "mean" and channel == shown:
            yield Name("sharpness", zone), figure


def _fringing(setting: Setting) -> Iterator[tuple[Name, Figure]]:
    for row in setting.fringing.zones if setting.fringing else ():
        yield Name("fringing", row.zone, row.channel), distance_from_green(row.radial_px, row.around_px)


def _falloff(setting: Setting) -> Iterator[tuple[Name, Figure]]:
    for row in setting.falloff.zones if setting.falloff else ():
        yield Name("falloff", row.zone), row.stops
