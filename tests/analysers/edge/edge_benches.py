"""Sheets of slanted edges with what is true of each: what tests and studies of edges share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgePlaces, EdgeResponses, blade_places, measure_edges
from lensbench.shot import Shot
from lensbench.target.finder import FoundTiles
from tests import known_edges as known


@dataclass(frozen=True)
class Bench:
    """Edges of one known blur and what is true of them."""

    scene: known.Scene
    places: EdgePlaces
    mtf50: NDArray
    position: NDArray

    def exposed(self, pattern: NDArray = known.BAYER, **exposure) -> Shot:
        return known.expose(self.scene.light, pattern, **exposure)

    def shown(self, pattern: NDArray = known.BAYER, **exposure) -> dict[str, EdgeResponses]:
        return measure_edges(self.exposed(pattern, **exposure), self.places, threads=1)


def slants(n: int, seed: int = 3, steepest: float = 43) -> NDArray:
    """Directions all round, a few degrees off the rows at least and off the diagonals."""
    rng = np.random.default_rng(seed)
    return rng.choice([0, 90, 180, 270], n) + rng.choice([-1, 1], n) * rng.uniform(2, steepest, n)


def half_way(transfer: known.Transfer) -> float:
    """Where a blurred edge crosses half."""
    at = np.linspace(-8, 8, 160001)
    return float(np.interp(0.5, known.profile(transfer)(at), at))


def bench(
    transfer: known.Transfer, angles_deg, cell: int = 192, length: float = 140.0, lopsided: bool = False, **scene
) -> Bench:
    """One edge in each cell; `lopsided` where the blur's middle isn't where its edge crosses half."""
    made = known.scene(transfer, angles_deg, cell=cell, length=length, **scene)
    seen = [known.with_pixel(transfer, angle) for angle in made.angle]
    # A square of half its diagonal round the middle holds all that is looked at, whichever way the edge runs.
    places = blade_places(made.ends, made.normal, np.sqrt(2) * cell / 2 - length / 2 - 4)
    moved = np.array([half_way(t) for t in seen]) if lopsided else 0.0
    return Bench(made, places, np.array([known.true_mtf50(t) for t in seen]), made.offset + moved)


def found_on(sheet: known.TileSheet) -> FoundTiles:
    """The tiles of a sheet, each found whole and exactly where it is."""
    return FoundTiles(sheet.column, sheet.row, sheet.corners, np.ones(len(sheet.column), bool), False)


def truth_of(places: EdgePlaces, transfer: known.Transfer) -> NDArray[np.float64]:
    """True MTF50 of straight edges under a blur that is the same everywhere, through square pixels."""
    angles = np.arctan2(places.normal[:, 1], places.normal[:, 0])
    return np.array([known.true_mtf50(known.with_pixel(transfer, angle)) for angle in angles])


def relative(found: EdgeResponses, made: Bench) -> NDArray:
    """Relative errors of the MTF50 of the edges that were measured."""
    ok = found.measured
    return found.mtf50[ok] / made.mtf50[ok] - 1
