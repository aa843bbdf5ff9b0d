"""What corrected shots of the bench still show in every zone, and what is left by the truth.

Pictures are measured with the package's own analysers, as planes; positions are held against the sheet with
scikit-image's projective transform, which knows nothing of lenses.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import tifffile
from skimage.transform import ProjectiveTransform

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.analysers.falloff import measure_falloff
from lensbench.analysers.fringing import measure_fringing
from lensbench.frame import ZONES, half_diagonal, zone_of
from lensbench.shot import Shot
from lensbench.target.finder import find_tiles

COLOURS = ("red", "green", "blue")


def as_planes(planes: np.ndarray) -> Shot:
    """Planes of red, green and blue, from 0 to 1, as a shot."""
    return Shot("picture", planes.astype(np.float32), None, COLOURS, np.zeros(3), 1.0, np.ones(3))


def fringing_left(shot: Shot, layout) -> dict[str, float]:
    """Mean displacement of red or blue from green by zone, whichever is larger, in pixels."""
    found = find_tiles(shot, layout)
    left: dict[str, float] = {}
    for zone in measure_fringing(found, measure_edges(shot, tile_edges(found)), shot.size).zones:
        left[zone.zone] = max(
            left.get(zone.zone, 0.0), float(np.hypot(zone.radial_px.value, zone.around_px.value))
        )
    return left


def green_mtf50(shot: Shot, layout) -> dict[tuple[int, int], tuple[float, tuple[float, float]]]:
    """Green's mean MTF50 over the edges of every tile, and where it lies, by column and row."""
    found = find_tiles(shot, layout)
    values = measure_edges(shot, tile_edges(found), ["green"])["green"].mtf50.reshape(-1, 3).mean(axis=1)
    middles = np.asarray(found.corners_px).reshape(-1, 3, 2).mean(axis=1)
    return {
        (int(column), int(row)): (float(value), (float(x), float(y)))
        for column, row, value, (x, y) in zip(found.column, found.row, values, middles, strict=True)
        if np.isfinite(value)
    }


def distortion_left(shot: Shot, layout) -> dict[str, float]:
    """How far tiles lie at most from where a flat sheet seen by a pinhole would have them, by zone, in percent of
    the half-diagonal."""
    found = find_tiles(shot, layout)
    tiles = measure_fringing(found, measure_edges(shot, tile_edges(found)), shot.size).tiles
    # The place of a tile that the frame cuts may be brought to the border.
    tiles = [t for t in tiles if 2 < t.x < shot.size[0] - 3 and 2 < t.y < shot.size[1] - 3]
    corners = {(int(c), int(r)): mm for c, r, mm in zip(layout.column, layout.row, layout.corners_mm, strict=True)}
    sheet = np.array([incentre(corners[tile.column, tile.row]) for tile in tiles])
    return straightness(sheet, np.array([(tile.x, tile.y) for tile in tiles]), shot.size)


def incentre(corners_mm: np.ndarray) -> np.ndarray:
    """The place equally far from a tile's sides."""
    facing = np.linalg.norm(corners_mm[[1, 2, 0]] - corners_mm[[2, 0, 1]], axis=1)
    return facing @ corners_mm / facing.sum()


def straightness(sheet_mm: np.ndarray, places: np.ndarray, size: tuple[int, int]) -> dict[str, float]:
    """The worst deviation by zone from the projective transform through all, in percent of the half-diagonal."""
    off = np.linalg.norm(ProjectiveTransform.from_estimate(sheet_mm, places)(sheet_mm) - places, axis=1)
    left: dict[str, float] = {}
    for place, deviation in zip(places, off, strict=True):
        zone = zone_of(*place, size)
        left[zone] = max(left.get(zone, 0.0), 100 * float(deviation) / half_diagonal(size))
    return left


def falloff_left(shot: Shot) -> dict[str, float]:
    """How far the mean light of any colour in each zone lies from that in the middle, in stops."""
    falloff = measure_falloff([shot])
    left = {zone.zone: abs(zone.stops.value) for zone in falloff.zones}
    green = {zone.zone: zone.stops.value for zone in falloff.zones}
    for cast in falloff.cast:
        for figure in (cast.red_percent, cast.blue_percent):
            if figure is not None:
                stops = green[cast.zone] - np.log2(1 + figure.value / 100)
                left[cast.zone] = max(left[cast.zone], abs(float(stops)))
    return left


# -- by the truth ---------------------------------------------------------------------------------------------


def warp_of(dng: Path):
    """The map that a DNG's WarpRectilinear says, by plane: the specification's formula, the file's own bytes."""
    with tifffile.TiffFile(dng) as tiff:
        held = bytes(tiff.pages.first.tags[51022].value)
        width, height = tiff.pages.first.imagewidth, tiff.pages.first.imagelength
    count, number = struct.unpack_from(">2I", held)
    assert (count, number) == (1, 1)
    (planes,) = struct.unpack_from(">I", held, 20)
    terms = np.array(struct.unpack_from(f">{6 * planes}d", held, 24)).reshape(planes, 6)
    cx, cy = np.array(struct.unpack_from(">2d", held, 24 + 48 * planes)) * (width, height)
    farthest = max(np.hypot(x - cx, y - cy) for x in (0, width) for y in (0, height))

    def read_at(plane: int, places: np.ndarray) -> np.ndarray:
        dx, dy = ((places - (cx, cy)) / farthest).T
        k0, k1, k2, k3, t0, t1 = terms[plane]
        square = dx**2 + dy**2
        factor = k0 + square * (k1 + square * (k2 + square * k3))
        across = dx * factor + 2 * t0 * dx * dy + t1 * (square + 2 * dx**2)
        down = dy * factor + 2 * t1 * dx * dy + t0 * (square + 2 * dy**2)
        return np.stack([cx + farthest * across, cy + farthest * down], axis=1)

    return read_at


def lands_at(read_at, plane: int, drawn: np.ndarray) -> np.ndarray:
    """Where in the corrected picture things come to lie that the lens has drawn at some places."""
    places = drawn.copy()
    for _ in range(60):
        places += drawn - read_at(plane, places)
    assert np.allclose(read_at(plane, places), drawn, atol=1e-6)
    return places


def worst_zone(left: dict[str, float]) -> float:
    """The largest value; all 13 zones have to be there."""
    assert set(left) == set(ZONES)
    return max(left.values())
