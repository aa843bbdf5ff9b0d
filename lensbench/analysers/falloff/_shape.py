"""The shape of an even light over the frame: by distance from the middle, lines of equal light, lopsidedness."""

from __future__ import annotations

import msgspec
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from lensbench.analysers.flat_light import MAP_STOPS, READABLE_STOPS, REFERENCE_H, LightMap
from lensbench.findings import NORMAL_95, FalloffContour, FalloffStep, Figure, Lopsidedness, UsableLight
from lensbench.frame import centre_of, half_diagonal
from lensbench.optics import cos4_stops

STEPS_H = np.linspace(0, 1, 11)
"""Distances from the frame's centre at which the profile is given."""

LEAST_SEEN = 0.5
"""Share of a circle's part in the frame that must be known for its mean to be given."""

USABLE_STOPS = (1.0, 2.0, 3.0)
"""How many stops darker the light may be, for three ideas of what is usable."""

BLOCK_SHARE = 0.05
"""Part of a block to which a place is known at best."""

LEAST_ARC = 0.03
"""Share of a circle that must lie in the frame for the light along it to be told."""

MOST_CHANGE, CHANGE_SHARE = 0.5, 0.3
"""Stops by which a hard edge may change the mean around within a block's width, and the part of that by which the
mean may be off (as found on edges drawn by hand)."""

ANGLES = np.linspace(0, 2 * np.pi, 240, endpoint=False)
"""Directions in which circles are looked at."""

RADII = 160
"""Circles on which usable light is looked for."""

SIDES = ("right", "bottom right", "bottom", "bottom left", "left", "top left", "top", "top right")
"""The sides of the picture, clockwise as seen from x right."""


def light_profile(light: LightMap) -> list[FalloffStep]:
    """Falloff against the distance from the frame's centre, by the mean light around it.

    Distances where that is black, or where a hard edge changes it much within a block, are left out.
    """
    found = []
    for h in STEPS_H:
        stops = _around(light, centre_of(light.size), h * half_diagonal(light.size))
        seen = stops[np.isfinite(stops)]
        change = _change_within_block(light, h)
        if len(seen) <= LEAST_SEEN * len(stops) or change > MOST_CHANGE:
            continue
        mean = _of_mean_light(seen)
        if mean < READABLE_STOPS:
            half = float(np.hypot(_doubt(light, len(seen) / len(ANGLES) * h), CHANGE_SHARE * change))
            figure = Figure.of(mean, half, "stops")
            darkest = min(float(seen.max()), READABLE_STOPS)
            found.append(FalloffStep(float(round(h, 3)), figure, darkest, float(seen.min())))
    return found


def beside_cos4(profile: list[FalloffStep], image_distance_px: Figure, size: tuple[int, int]) -> list[FalloffStep]:
    """A profile with what the cos⁴ law takes at each distance, counted from the middle as all falloff is.

    Parameters
    ----------
    profile : list of FalloffStep
    image_distance_px : Figure
        From the exit pupil to the sensor, over the pupil ratio: what makes a field angle of a place.
    size : (int, int)
        Width and height of the frame in pixels.
    """
    half = half_diagonal(size)

    def law(h: float, distance: float) -> float:
        # The mean light within REFERENCE_H, from which stops are counted, is that at about 0.7 of it.
        angles = np.degrees(np.arctan(np.array([h, REFERENCE_H / np.sqrt(2)]) * half / distance))
        return float(np.subtract(*cos4_stops(angles)))

    ends = image_distance_px.low, image_distance_px.value, image_distance_px.high
    found = []
    for step in profile:
        low, value, high = (law(step.h, distance) for distance in ends)
        found.append(
            msgspec.structs.replace(step, cos4_stops=Figure(value, min(low, high), max(low, high), "stops"))
        )
    return found


def _around(light: LightMap, centre: tuple[float, float], radius: float) -> NDArray[np.float64]:
    """Stops along the part of a circle that lies in the frame; NaN where clipped."""
    width, height = light.size
    corner = np.arctan2(height, width)
    # The frame's four corners are the only places with h = 1.
    angles = np.concatenate([ANGLES, [corner, np.pi - corner, np.pi + corner, -corner]])
    x, y = centre[0] + radius * np.cos(angles), centre[1] + radius * np.sin(angles)
    inside = (np.abs(x - (width - 1) / 2) <= width / 2 + 1e-6) & (
        np.abs(y - (height - 1) / 2) <= height / 2 + 1e-6
    )
    return light.at(x[inside], y[inside])


def _change_within_block(light: LightMap, h: float) -> float:
    """Stops by which the mean around changes over a block's width where hard edges are; infinite if not known."""
    if not light.rough.any():
        return 0.0
    half, reach = half_diagonal(light.size), np.diff(light.x[:2]).item() / 2
    ends = max(h * half - reach, 0.0), min(h * half + reach, half)
    around = (_around(light, centre_of(light.size), radius) for radius in ends)
    inner, outer = (stops[np.isfinite(stops)] for stops in around)
    return abs(_of_mean_light(outer) - _of_mean_light(inner)) if len(inner) and len(outer) else np.inf


def _of_mean_light(stops: NDArray) -> float:
    """Stops of the mean light over places."""
    return -float(np.log2(np.mean(2.0**-stops)))


def _doubt(light: LightMap, turns: float) -> float:
    """Half of the interval of a mean over a circle's arc, in turns of the radius 1: by noise and by the map."""
    blocks = max(2 * np.pi * turns * half_diagonal(light.size) / np.diff(light.x[:2]).item(), 1.0)
    return float(np.hypot(NORMAL_95 * light.spread / np.sqrt(blocks), MAP_STOPS))


def usable_light(light: LightMap, centre: tuple[float, float], pixel_pitch_um: float | None) -> list[UsableLight]:
    """How far from the centre of the light the mean light in all directions is down by each number of stops.

    Parameters
    ----------
    light : LightMap
    centre : (float, float)
        In pixels.
    pixel_pitch_um : float or None
        For figures in millimetres.
    """
    radii = np.linspace(0, 1.5 * half_diagonal(light.size), RADII)
    known, mean = [], []
    for radius in radii:
        stops = _around(light, centre, radius)
        if len(stops) < LEAST_ARC * len(ANGLES):
            break
        known.append(radius)
        mean.append(_of_mean_light(stops[np.isfinite(stops)]) if np.isfinite(stops).any() else np.nan)
    return [_usable(light, np.array(known), np.array(mean), stops, pixel_pitch_um) for stops in USABLE_STOPS]


def _usable(
    light: LightMap, radii: NDArray, mean: NDArray, stops: float, pixel_pitch_um: float | None
) -> UsableLight:
    beyond = np.flatnonzero(mean >= stops)
    if not len(beyond) or beyond[0] == 0:
        return UsableLight(stops, None, None)
    after = beyond[0]
    radius, slope = _crossing(radii[after - 1 : after + 1], mean[after - 1 : after + 1], stops)
    # Where a hard edge cuts the light its place is known to a part of a block.
    block = BLOCK_SHARE * float(np.diff(light.x[:2]).item())
    half = np.hypot(_doubt(light, radius / half_diagonal(light.size)) / slope, block)
    figure = Figure.of(radius, half, "px")
    pitch = (pixel_pitch_um or 0) / 1000
    return UsableLight(stops, figure, Figure.of(radius * pitch, half * pitch, "mm") if pitch else None)


def _crossing(radii: NDArray, mean: NDArray, stops: float) -> tuple[float, float]:
    slope = float(np.diff(mean).item() / np.diff(radii).item())
    return float(radii[0] + (stops - mean[0]) / slope), slope


def lopsidedness(light: LightMap) -> Lopsidedness | None:
    """How much darker one side is than the other: the even slope that goes along with the best round light."""
    thin = np.s_[::4, ::4]
    half, middle = half_diagonal(light.size), centre_of(light.size)
    u, v = np.meshgrid((light.x[::4] - middle[0]) / half, (light.y[::4] - middle[1]) / half)
    good = light.readable[thin] & ~light.rough[thin]
    if good.sum() < 20:
        return None
    u, v, stops = u[good], v[good], light.smooth[thin][good]
    q = u**2 + v**2
    design = np.stack([u, v, np.ones_like(q), q, q**2, q**3], axis=1)
    parts = np.linalg.lstsq(design, stops, rcond=None)[0]
    rest = stops - design @ parts
    # What is left over is smooth, and so the same over some sixteen neighbours.
    covariance = np.linalg.pinv(design.T @ design)[:2, :2] * (np.mean(rest**2) * 16 + light.spread**2)
    across, down = parts[:2]
    size = float(np.hypot(across, down))
    way = np.array([across, down]) / max(size, 1e-12)
    sigma = np.sqrt(np.array([*np.diag(covariance), way @ covariance @ way]))
    side = SIDES[int(np.round(np.degrees(np.arctan2(down, across)) / 45)) % 8]
    figures = [
        Figure.of(value, NORMAL_95 * s, "stops") for value, s in zip((across, down, size), sigma, strict=True)
    ]
    return Lopsidedness(*figures, darker_at=side)


def light_contours(light: LightMap, x: NDArray, y: NDArray, stops: NDArray) -> list[FalloffContour]:
    """Lines at thirds of a stop, and how much of the frame is darker.

    Parameters
    ----------
    light : LightMap
    x, y : ndarray
        The reported map's places in pixels.
    stops : ndarray, shape (y, x)
        The reported map; NaN where it could not be read.
    """
    known = np.isfinite(stops)
    if not known.any():
        return []
    filled = np.where(known, stops, READABLE_STOPS)
    found = []
    for third in range(1, int(np.floor(3 * filled.max())) + 1):
        level = third / 3
        lines = find_contours(filled, level, mask=known)
        shares = [100 * _share_beyond(filled, level - sign * MAP_STOPS) for sign in (-1, 0, 1)]
        listed = [
            [(round(float(px), 1), round(float(py), 1)) for px, py in _in_pixels(line, x, y)] for line in lines
        ]
        figure = Figure(shares[1], shares[0], shares[2], "%")
        found.append(FalloffContour(round(level, 4), figure, listed))
    return found


def _share_beyond(stops: NDArray, level: float) -> float:
    """Share of the frame that is darker than a level; cells that the line crosses count in part."""
    cells = np.stack([stops[:-1, :-1], stops[1:, :-1], stops[:-1, 1:], stops[1:, 1:]])
    low, high = cells.min(axis=0), cells.max(axis=0)
    return float(np.mean(np.clip((high - level) / np.maximum(high - low, 1e-9), 0, 1)))


def _in_pixels(line: NDArray, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """A line of (row, column) in the map as (x, y) in pixels."""
    rows, columns = line.T
    return np.stack([np.interp(columns, np.arange(len(x)), x), np.interp(rows, np.arange(len(y)), y)], axis=1)
