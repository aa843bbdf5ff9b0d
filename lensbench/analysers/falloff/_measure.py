"""Falloff: how much darker an even light is drawn away from the middle of the frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff._colour_cast import GreenLight, colour_cast
from lensbench.analysers.falloff._hot_spot import growing_spot
from lensbench.analysers.falloff._image_circle import FoundEdge, find_hard_edge
from lensbench.analysers.falloff._panel import PanelGiven, split_panel
from lensbench.analysers.falloff._shape import light_contours, light_profile, lopsidedness, usable_light
from lensbench.analysers.falloff._zones import zone_falloff
from lensbench.analysers.flat_light import (
    Blocks,
    FlatLight,
    LightMap,
    centre_of_light,
    fit_light,
    read_finely,
    read_flats,
)
from lensbench.errors import BenchError
from lensbench.findings import Coverage, Falloff, FalloffGrid, Figure, HotSpot, LightPanel, Position, ZoneCast
from lensbench.frame import centre_of, half_diagonal
from lensbench.shot import Shot

COVERED_STOPS = 5.0
"""Where a block of the frame is darker than this the light does not cover the frame."""

GRID = (49, 33)
"""Points of the reported map across and down."""


@dataclass(frozen=True, eq=False)
class GatheredLight:
    """What the flats of one setting show.

    Attributes
    ----------
    stops : ndarray, shape (y, x)
        The lens's falloff at each block of the map, the panel's own light taken off where it is known.
    light_map : LightMap
        The smooth map through them, with any bright spot still in it.
    edge : FoundEdge
    panel : LightPanel
    cast : list of ZoneCast
    pixel_pitch_um : float or None
    fine : Blocks or None
        The light in finer blocks, where a hard edge cuts it.
    """

    stops: NDArray[np.float64]
    light_map: LightMap
    edge: FoundEdge
    panel: LightPanel
    cast: list[ZoneCast]
    pixel_pitch_um: float | None
    fine: Blocks | None


def measure_falloff(
    flats: Sequence[Shot],
    darks: Sequence[Shot] = (),
    given: Sequence[PanelGiven] | None = None,
    pixel_pitch_um: float | None = None,
) -> Falloff:
    """Measure falloff from flats taken alike.

    Parameters
    ----------
    flats : sequence of Shot
        One or more flats of one setting and one frame size. Their maps are averaged.
    darks : sequence of Shot
        Frames taken with the lens covered, at the flats' exposure time and sensitivity; their mean is taken off.
    given : sequence of PanelGiven, optional
        How the light panel stood for each flat; in one place where not given.
    pixel_pitch_um : float, optional
        For figures in millimetres on the sensor.

    Returns
    -------
    Falloff
        Zone figures are by the mean light over the zone's area, cut-off parts included (`zone_falloff`). Intervals
        hold the flats' noise; what is left of the light panel's own unevenness is said in `panel`.

    Raises
    ------
    BenchError
        Where the flats can't be read: too dark, clipped in the middle, or of different sizes.

    Examples
    --------
    Light that is one stop darker in the corners than in the middle:

    >>> import numpy as np
    >>> from lensbench import Shot, measure_falloff
    >>> y, x = np.mgrid[:400, :600]
    >>> h = np.hypot(x - 299.5, y - 199.5) / np.hypot(300, 200)
    >>> light = 12000 * 2.0 ** -(h**2)
    >>> flat = Shot.from_array(np.random.default_rng(1).poisson(light), white=16000)
    >>> falloff = measure_falloff([flat])
    >>> corner = h > 0.85
    >>> true = np.log2(light[h < 0.1].mean() / light[corner].mean())
    >>> bool(abs(falloff.worst_corner.stops.value - true) < 0.02)
    True
    """
    return describe_light(gather_light(flats, darks, given, pixel_pitch_um))


def gather_light(
    flats: Sequence[Shot],
    darks: Sequence[Shot] = (),
    given: Sequence[PanelGiven] | None = None,
    pixel_pitch_um: float | None = None,
) -> GatheredLight:
    """Read flats and tell the lens's light from the panel's; parameters and errors as of `measure_falloff`."""
    if not flats:
        raise ValueError("falloff needs a flat")
    first, given = flats[0], list(given or [PanelGiven()] * len(flats))
    for flat in flats:
        if flat.size != first.size:
            raise BenchError(
                f"{flat.name}: is {flat.size[0]} × {flat.size[1]} pixels, {first.name} is "
                f"{first.size[0]} × {first.size[1]}. Take all flats of a setting with one camera and crop."
            )
    lights = read_flats(flats, first.reference, darks)
    x, y = lights[0].x, lights[0].y
    places = list(dict.fromkeys(given))
    stops, weight = zip(
        *(_averaged([s for s, g in zip(lights, given, strict=True) if g == p]) for p in places), strict=True
    )
    panel_stops, panel = split_panel(np.array(stops), np.array(weight) > 0, x, y, first.size, places)
    weight = np.array(weight)
    total = weight.sum(axis=0)
    lens = ((np.array(stops) - panel_stops) * weight).sum(axis=0) / np.maximum(total, 1)
    dark = np.all([light.dark for light in lights], axis=0)
    lens = np.where(dark, np.mean([light.stops for light in lights], axis=0), lens)
    edge = find_hard_edge(first.size, x, y, lens, (total > 0) | dark, pixel_pitch_um)
    rough = edge.beyond | dark
    light_map = fit_light(first.size, x, y, lens, total, rough)
    fine = read_finely(flats, first.reference, darks) if rough.any() else None
    cast = colour_cast(flats, darks, GreenLight(lights, light_map, zone_falloff(light_map, fine)))
    return GatheredLight(lens, light_map, edge, panel, cast, pixel_pitch_um, fine)


def _averaged(lights: Sequence[FlatLight]) -> tuple[NDArray, NDArray]:
    """The mean of flats of one place of the panel, and how many flats each block could be read in."""
    readable = np.array([light.readable for light in lights])
    total = np.where(readable, [light.stops for light in lights], 0.0).sum(axis=0)
    count = readable.sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), 0.0), count.astype(float)


def describe_light(light: GatheredLight, spot: tuple[NDArray, HotSpot | None] | None = None) -> Falloff:
    """Lay a smooth map through what the flats show and take all figures from it.

    Parameters
    ----------
    light : GatheredLight
        From `gather_light`.
    spot : (ndarray, HotSpot or None), optional
        Stops that a bright spot adds, and what is said of it, where flats at other apertures have told. One
        aperture alone does not: a rim that cuts the light from the very middle outward looks the same.
    """
    light_map = light.light_map
    size = light_map.size
    if spot is not None and spot[0].any():
        stops = light.stops + spot[0]
        light_map = fit_light(size, light_map.x, light_map.y, stops, light_map.weight, light_map.rough)
    grid_x, grid_y = np.linspace(0, size[0] - 1, GRID[0]), np.linspace(0, size[1] - 1, GRID[1])
    grid = np.where(light_map.readable_on(grid_x, grid_y), light_map.on_grid(grid_x, grid_y), np.nan)
    centre = _centre(light_map)
    zones = zone_falloff(light_map, light.fine)
    about = centre_of(size) if centre is None else (centre.x.value, centre.y.value)
    corners = [zone for zone in zones if zone.zone.startswith("corner")]
    return Falloff(
        zones=zones,
        grid=_listed(grid_x, grid_y, grid),
        centre_px=centre,
        covers_frame=_covers(light_map),
        worst_corner=max(corners, key=lambda zone: zone.stops.value) if len(corners) == 4 else None,
        profile=light_profile(light_map),
        contours=light_contours(light_map, grid_x, grid_y, grid),
        lopsided=lopsidedness(light_map),
        cast=light.cast,
        hot_spot=spot[1] if spot else None,
        panel=light.panel,
        coverage=Coverage(usable_light(light_map, about, light.pixel_pitch_um), light.edge.finding),
    )


def describe_apertures(lights: Sequence[GatheredLight], f_numbers: Sequence[float]) -> list[Falloff]:
    """`describe_light` for two apertures or more of one build, which together tell a bright spot from falloff.

    Parameters
    ----------
    lights : sequence of GatheredLight
    f_numbers : sequence of float
        Rising.
    """
    maps, stops = [light.light_map for light in lights], [light.stops for light in lights]
    first, good = maps[0], [one.readable & ~one.rough for one in maps]
    spots = growing_spot(first.size, first.x, first.y, stops, good, f_numbers, first.spread)
    return [describe_light(light, spot) for light, spot in zip(lights, spots, strict=True)]


def _covers(light_map: LightMap) -> bool:
    """Whether no more than a speck of the frame is darker than `COVERED_STOPS`; clipped blocks are not dark."""
    known = light_map.readable | light_map.rough
    return bool(np.mean(known & (light_map.stops > COVERED_STOPS)) < 1e-3)


def _listed(x: NDArray, y: NDArray, stops: NDArray) -> FalloffGrid:
    """The map for the report, None where it could not be read."""
    listed = [[round(float(v), 5) if np.isfinite(v) else None for v in line] for line in stops]
    return FalloffGrid([float(v) for v in x], [float(v) for v in y], listed)


def _centre(light_map: LightMap) -> Position | None:
    """Where the light's centre lies; None where it is too even to tell."""
    found = _round_axis(light_map)
    if found is None:
        return None
    half = half_diagonal(light_map.size)
    middle = np.array(centre_of(light_map.size)) + found[0] * half
    across, down = found[1] * half
    return Position(Figure.of(middle[0], across, "px"), Figure.of(middle[1], down, "px"))


def _round_axis(light_map: LightMap) -> tuple[NDArray, NDArray] | None:
    good = light_map.readable & ~light_map.rough
    return centre_of_light(light_map.x, light_map.y, light_map.smooth, good, light_map.size, light_map.spread)
