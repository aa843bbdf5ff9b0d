"""Sheets of edges through drawn lenses, with what is true of each edge: for studies of glow and aberrations.

GalSim: the modular galaxy image simulation toolkit, Rowe et al., Astronomy and Computing 10 (2015) 121. Its
`kValue` along the edge's normal, times the square pixel's transfer, is the truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import galsim
import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import FREQUENCY, EdgePlaces, blade_places, tile_edges
from lensbench.shot import Shot
from tests import known_edges as known
from tests.analysers.edge.edge_benches import found_on, slants
from tests.drawn_lenses import all_round, along

JUDGED = (FREQUENCY >= 0.02) & (FREQUENCY <= 0.45)
CELL, LENGTH, SHEET = 256, 190.0, 9


@dataclass(frozen=True)
class Truth:
    """Of n edges: contrast at the judged frequencies, MTF50, its steepness, where half is crossed, rise."""

    mtf: NDArray
    mtf50: NDArray
    steepness: NDArray
    place: NDArray
    rise: NDArray


def truth_along(transfer: known.Transfer) -> tuple:
    seen = np.abs(transfer(FREQUENCY[JUDGED]))
    mtf50 = known.true_mtf50(transfer)
    near = np.abs(transfer(mtf50 * np.array([0.995, 1.005])))
    at = np.linspace(-60, 60, 48001)
    level = known.profile(transfer)(at)
    half = float(np.interp(0.5, level[abs(at) < 8], at[abs(at) < 8]))
    low, high = at[len(at) - 1 - np.argmax(level[::-1] <= 0.1)], at[np.argmax(level >= 0.9)]
    return seen, mtf50, (near[0] - near[1]) / 0.01, half, high - low


@dataclass(frozen=True)
class Drawn:
    """A sheet of edges through one lens."""

    light: NDArray
    places: EdgePlaces
    truth: Truth
    offset: NDArray

    def shot(self, white: float, seed: int | None) -> Shot:
        return known.expose(self.light * white, known.BAYER if seed is not None else known.MONO, seed=seed)


def free_edges(psf: galsim.GSObject, seed: int) -> Drawn:
    """Straight edges in cells of their own, all round."""
    scenes, truths = [], []
    for k, degrees in enumerate(slants(SHEET, seed)):
        transfer = along(psf, np.radians(degrees))
        scenes.append(known.scene(transfer, [degrees], CELL, LENGTH, 0.04, 1.0, seed=seed + k))
        truths.append(truth_along(known.with_pixel(transfer, np.radians(degrees))))
    down = np.array([0, CELL])
    ends = np.concatenate([scene.ends + k * down for k, scene in enumerate(scenes)])
    normal, light, offset = (
        np.concatenate([getattr(s, name) for s in scenes]) for name in ("normal", "light", "offset")
    )
    places = blade_places(ends, normal, np.sqrt(2) * CELL / 2 - LENGTH / 2 - 4)
    return Drawn(light, places, Truth(*map(np.array, zip(*truths, strict=True))), offset)


PITCH, LEG, MARGIN, FINER = 340, 190.0, 170, 2


def tiles(psf: galsim.GSObject, seed: int) -> Drawn:
    """Six tiles as they stand on the printed sheet, each with the light of all around it."""
    transfer = all_round(psf)
    sheet, shapes = bare_tiles(seed)
    fx, fy = _frequencies()
    response = transfer(np.hypot(fx, fy)) * np.sinc(fx) * np.sinc(fy)
    light = np.empty_like(sheet.light)
    for i, j, shape in zip(sheet.column, sheet.row, shapes, strict=True):
        patch = np.fft.irfft2(shape * response, (fy.size, fy.size))[::FINER, ::FINER] * FINER**2
        light[j * PITCH : (j + 1) * PITCH, i * PITCH : (i + 1) * PITCH] = (
            1 - 0.96 * patch[MARGIN : MARGIN + PITCH, MARGIN : MARGIN + PITCH]
        )
    places = tile_edges(found_on(sheet))
    angles = np.arctan2(places.normal[:, 1], places.normal[:, 0])
    truths = [truth_along(known.with_pixel(transfer, angle)) for angle in angles]
    return Drawn(light, places, Truth(*map(np.array, zip(*truths, strict=True))), np.zeros(len(places)))


@lru_cache(maxsize=3)
def bare_tiles(seed: int) -> tuple[known.TileSheet, list[NDArray]]:
    """Six tiles and, about each, the transform of all that stands near it; the same through every lens."""
    sheet = known.tile_sheet(lambda f: np.ones_like(f), 3, 2, PITCH, LEG, seed)
    shapes = []
    for i, j in zip(sheet.column, sheet.row, strict=True):
        near = (abs(sheet.column - i) < 2) & (abs(sheet.row - j) < 2)
        corners = sheet.corners[near] - PITCH * np.array([i, j]) + MARGIN
        shapes.append(sum(known.triangle_transform(three, *_frequencies()) for three in corners))
    return sheet, shapes


def _frequencies() -> tuple[NDArray, NDArray]:
    """Cycles a pixel of the drawing about a tile, across and down."""
    size = (PITCH + 2 * MARGIN) * FINER
    return np.fft.rfftfreq(size, 1 / FINER)[None, :], np.fft.fftfreq(size, 1 / FINER)[:, None]
