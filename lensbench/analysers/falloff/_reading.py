"""The flats of one setting, read: the lens's light at each block, the panel's own subtracted where it is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff._colour_cast import GreenLight, colour_cast
from lensbench.analysers.falloff._image_circle import FoundCircle, find_image_circle
from lensbench.analysers.falloff._panel import separate_panel
from lensbench.analysers.falloff._panel_moves import PanelGiven
from lensbench.analysers.falloff._zones import zone_falloff
from lensbench.analysers.flat_light import Blocks, FlatLight, LightMap, fit_light, read_finely, read_flats
from lensbench.errors import BenchError
from lensbench.findings import LightPanel, ZoneCast
from lensbench.shot import Shot


@dataclass(frozen=True, eq=False)
class LightReading:
    """What the flats of one setting show.

    Attributes
    ----------
    stops : ndarray, shape (y, x)
        The lens's falloff at each block of the map, the panel's own light subtracted where it is known.
    light_map : LightMap
        The smooth map through them, with any hot spot still in it.
    circle : FoundCircle
    panel : LightPanel
    cast : list of ZoneCast
    pixel_pitch_um : float or None
    fine : Blocks or None
        The light in finer blocks, where the frame shows the edge of the image circle.
    """

    stops: NDArray[np.float64]
    light_map: LightMap
    circle: FoundCircle
    panel: LightPanel
    cast: list[ZoneCast]
    pixel_pitch_um: float | None
    fine: Blocks | None


def read_light(
    flats: Sequence[Shot],
    darks: Sequence[Shot] = (),
    given: Sequence[PanelGiven] | None = None,
    pixel_pitch_um: float | None = None,
) -> LightReading:
    """Read the flats of one setting, and separate the lens's light from the panel's.

    Parameters
    ----------
    flats, darks, given, pixel_pitch_um
        As of `measure_falloff`.

    Returns
    -------
    LightReading

    Raises
    ------
    BenchError
        Where the flats can't be measured: too dark, clipped in the middle, or of different sizes.
    """
    if not flats:
        raise ValueError("falloff needs a flat")
    _require_one_size(flats)
    first, given = flats[0], list(given or [PanelGiven()] * len(flats))
    lights = read_flats(flats, first.reference, darks)
    x, y = lights[0].x, lights[0].y
    positions = list(dict.fromkeys(given))
    means = [_mean([s for s, g in zip(lights, given, strict=True) if g == p]) for p in positions]
    stops, weight = (np.array(part) for part in zip(*means, strict=True))
    panel_stops, panel = separate_panel(stops, weight > 0, x, y, first.size, positions)
    total = weight.sum(axis=0)
    lens = ((stops - panel_stops) * weight).sum(axis=0) / np.maximum(total, 1)
    dark = np.all([light.dark for light in lights], axis=0)
    lens = np.where(dark, np.mean([light.stops for light in lights], axis=0), lens)
    circle = find_image_circle(first.size, x, y, lens, (total > 0) | dark, pixel_pitch_um)
    rough = circle.beyond | dark
    light_map = fit_light(first.size, x, y, lens, total, rough)
    fine = read_finely(flats, first.reference, darks) if rough.any() else None
    cast = colour_cast(flats, darks, GreenLight(lights, light_map, zone_falloff(light_map, fine)))
    return LightReading(lens, light_map, circle, panel, cast, pixel_pitch_um, fine)


def _require_one_size(flats: Sequence[Shot]) -> None:
    first = flats[0]
    for flat in flats:
        if flat.size != first.size:
            raise BenchError(
                f"{flat.name}: is {flat.size[0]} × {flat.size[1]} pixels, {first.name} is "
                f"{first.size[0]} × {first.size[1]}. Take all flats of a setting with one camera and crop."
            )


def _mean(lights: Sequence[FlatLight]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The mean of flats of one panel position, and how many flats each block could be measured in."""
    readable = np.array([light.readable for light in lights])
    total = np.where(readable, [light.stops for light in lights], 0.0).sum(axis=0)
    count = readable.sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), 0.0), count.astype(float)
