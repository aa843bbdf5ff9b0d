"""Falloff: how much darker an even light is drawn away from the middle of the frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff._contours import light_contours
from lensbench.analysers.falloff._gradient import light_gradient
from lensbench.analysers.falloff._hot_spot import SpotLight, find_hot_spots
from lensbench.analysers.falloff._lopsided import with_lopsided
from lensbench.analysers.falloff._panel_moves import PanelGiven
from lensbench.analysers.falloff._profile import light_profile
from lensbench.analysers.falloff._reading import LightReading, read_light
from lensbench.analysers.falloff._usable_light import usable_light
from lensbench.analysers.falloff._zones import zone_falloff
from lensbench.analysers.flat_light import LightMap, centre_of_light, fit_light
from lensbench.findings import LENS_ALONE, LENS_AND_LIGHT, Coverage, Falloff, FalloffGrid, Figure, Position
from lensbench.frame import centre_of, half_diagonal
from lensbench.shot import Shot

COVERED_STOPS = 5.0
"""Where a block of the frame is darker than this the light does not cover the frame (our own choice)."""

UNCOVERED_SHARE = 1e-3
"""Share of the frame that may be darker and still count as covered: a speck."""

GRID = (49, 33)
"""Points of the reported map across and down."""


def measure_falloff(
    flats: Sequence[Shot],
    darks: Sequence[Shot] = (),
    given: Sequence[PanelGiven] | None = None,
    pixel_pitch_um: float | None = None,
    image_distance_px: Figure | None = None,
) -> Falloff:
    """Measure falloff from flats taken alike.

    Parameters
    ----------
    flats : sequence of Shot
        One or more flats of one setting and one frame size. Their maps are averaged.
    darks : sequence of Shot
        Frames taken with the lens covered, at the flats' exposure time and sensitivity; their mean is subtracted.
    given : sequence of PanelGiven, optional
        The light panel's position for each flat; one position where not given.
    pixel_pitch_um : float, optional
        For figures in millimetres on the sensor.
    image_distance_px : Figure, optional
        From the exit pupil to the sensor, over the pupil ratio (`Geometry.view`); it puts the falloff of the cos⁴
        law beside the profile's.

    Returns
    -------
    Falloff
        Zone figures are by the mean light over the zone's area, cut-off parts included (`zone_falloff`). Intervals
        hold the flats' noise, and where the light stayed in one position also what is lopsided, as that may be
        the light's; what remains of the light panel's own unevenness is said in `panel`.

    Raises
    ------
    BenchError
        Where the flats can't be measured: too dark, clipped in the middle, or of different sizes.

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
    reading = read_light(flats, darks, given, pixel_pitch_um)
    return describe_falloff([reading], image_distance_px=image_distance_px)[0]


def describe_falloff(
    readings: Sequence[LightReading],
    f_numbers: Sequence[float] | None = None,
    image_distance_px: Figure | None = None,
) -> list[Falloff]:
    """Make the finding of each reading; those at several apertures together separate a hot spot from falloff.

    Parameters
    ----------
    readings : sequence of LightReading
        One for each aperture, the lens mounted alike for all.
    f_numbers : sequence of float, optional
        Of the readings, rising. Needed for two readings or more. One aperture alone shows no hot spot: light that
        a rim cuts from the very middle outward looks the same.
    image_distance_px : Figure, optional
        As of `measure_falloff`.

    Returns
    -------
    list of Falloff
        One for each reading.
    """
    if len(readings) == 1:
        return [_described(readings[0], None, image_distance_px)]
    if f_numbers is None:
        raise ValueError("several readings need their f-numbers")
    spots = find_hot_spots([one.light_map for one in readings], [one.stops for one in readings], f_numbers)
    return [_described(reading, spot, image_distance_px) for reading, spot in zip(readings, spots, strict=True)]


def _described(reading: LightReading, spot: SpotLight | None, image_distance_px: Figure | None) -> Falloff:
    light_map = reading.light_map
    size = light_map.size
    if spot is not None and spot.stops.any():
        stops = reading.stops + spot.stops
        light_map = fit_light(size, light_map.x, light_map.y, stops, light_map.weight, light_map.rough)
    grid_x, grid_y = np.linspace(0, size[0] - 1, GRID[0]), np.linspace(0, size[1] - 1, GRID[1])
    grid = np.where(light_map.readable_on(grid_x, grid_y), light_map.on_grid(grid_x, grid_y), np.nan)
    centre = _centre(light_map)
    zones = zone_falloff(light_map, reading.fine)
    together = not reading.panel.removed
    if together:
        zones = with_lopsided(zones, light_map)
    about = centre_of(size) if centre is None else (centre.x.value, centre.y.value)
    corners = [zone for zone in zones if zone.zone.startswith("corner")]
    return Falloff(
        zones=zones,
        grid=_listed(grid_x, grid_y, grid),
        centre_px=centre,
        covers_frame=_covers(light_map),
        worst_corner=max(corners, key=lambda zone: zone.stops.value) if len(corners) == 4 else None,
        profile=light_profile(light_map, image_distance_px),
        contours=light_contours(grid_x, grid_y, grid),
        gradient=light_gradient(light_map),
        cast=reading.cast,
        hot_spot=spot.finding if spot else None,
        panel=reading.panel,
        source=LENS_AND_LIGHT if together else LENS_ALONE,
        coverage=Coverage(usable_light(light_map, about, reading.pixel_pitch_um), reading.circle.finding),
    )


def _covers(light_map: LightMap) -> bool:
    """Whether no more than a speck of the frame is darker than `COVERED_STOPS`; clipped blocks are not dark."""
    known = light_map.readable | light_map.rough
    return bool(np.mean(known & (light_map.stops > COVERED_STOPS)) < UNCOVERED_SHARE)


def _listed(x: NDArray, y: NDArray, stops: NDArray) -> FalloffGrid:
    """The map for the report, None where it could not be measured."""
    listed = [[round(float(v), 5) if np.isfinite(v) else None for v in line] for line in stops]
    return FalloffGrid([float(v) for v in x], [float(v) for v in y], listed)


def _centre(light_map: LightMap) -> Position | None:
    """The axis of the light; None where it is too even to have one."""
    good = light_map.readable & ~light_map.rough
    found = centre_of_light(light_map.x, light_map.y, light_map.smooth, good, light_map.size, light_map.spread)
    if found is None:
        return None
    half = half_diagonal(light_map.size)
    middle = np.array(centre_of(light_map.size)) + found[0] * half
    across, down = found[1] * half
    return Position(Figure.of(middle[0], across, "px"), Figure.of(middle[1], down, "px"))
