"""Whether the intervals of tiles' and zones' sharpness hold the truth, over lenses of many kinds.

Run it by hand: ``python -m tests.bench.zones [full]``; a quarter of a frame, or with ``full`` all 24 megapixels.
A row is a lens; each cell gives, for sagittal and tangential figures together, how many of the 95 % intervals of
tiles and of zones hold the truth, and by how much zones are off at the median, in percent.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Figure, Sharpness
from lensbench.frame import zone_of
from lensbench.simulator.lens import Lens
from lensbench.simulator.scene import Scene
from tests.bench.place_shots import FULL, SMALL, Taken, take

LENSES = {
    "flawless": {},
    "out of focus": {},
    "coma": {"coma_um": 4.0},
    "astigmatism": {"astigmatism_um": 4.0, "curvature_um": 3.0},
    "decentred": {"decentre_mm": (1.0, 0.4), "astigmatism_um": 3.0, "coma_um": 2.0},
    "leaning": {"lean_deg": (0.3, 0.1), "astigmatism_um": 2.0},
    "all of it": {"coma_um": 3.0, "astigmatism_um": 3.0, "curvature_um": 2.0, "axial_coma_um": (0.4, 0.2)},
}
DIRECTIONS = ("sagittal", "tangential")


def compare(taken: Taken, channel: str) -> tuple[list[bool], list[bool], list[float]]:
    """For tiles and zones whether their intervals hold the truth; how far off zones are, in percent."""
    size = taken.camera.size
    result = measure_sharpness([ShotEdges("t", taken.responses, taken.found)], size)
    tiles, zones, off = [], [], []
    for direction in DIRECTIONS:
        true = getattr(taken.truth.edges, f"{direction}_mtf50")[channel]
        members: dict[str, list[float]] = {}
        for figure, place, row in _figures(result, taken, channel, direction):
            tiles.append(figure.low <= true[row] <= figure.high)
            members.setdefault(zone_of(*place, size), []).append(true[row])
        for zone in result.zones:
            if (zone.channel, zone.direction) == (channel, direction):
                mean = float(np.mean(members[zone.zone]))
                zones.append(zone.mtf50.low <= mean <= zone.mtf50.high)
                off.append(100 * (zone.mtf50.value / mean - 1))
    return tiles, zones, off


def _figures(
    result: Sharpness, taken: Taken, channel: str, direction: str
) -> list[tuple[Figure, tuple[float, float], int]]:
    """Each tile's figure with its place and its row in the truth."""
    known = [t for t in result.tiles if t.channel == channel and getattr(t, direction) is not None]
    rows = taken.rows_of_truth(np.array([t.column for t in known]), np.array([t.row for t in known]))
    return [(getattr(t, direction), (t.x, t.y), int(row)) for t, row in zip(known, rows, strict=True)]


def main(full: bool) -> None:
    camera = FULL if full else SMALL
    plain = Lens(image_radius_mm=float(np.hypot(*camera.sensor_mm)) / 2)
    totals: dict[str, list[list[bool]]] = {}
    print("lens".ljust(16), *(f"{name}: tiles  zones    off".rjust(30) for name in camera.channels))
    for name, faults in LENSES.items():
        scene = Scene(defocus_mm=0.1 if name == "out of focus" else 0.0)
        taken = take(replace(plain, **faults), camera, scene, 4.0)
        cells = []
        for channel in camera.channels:
            tiles, zones, off = compare(taken, channel)
            both = totals.setdefault(channel, [[], []])
            both[0] += tiles
            both[1] += zones
            cells.append(f"{np.mean(tiles):6.3f} {np.mean(zones):6.3f} {np.median(off):+6.2f}".rjust(30))
        print(name.ljust(16), *cells, flush=True)
    cells = [f"{np.mean(tiles):6.3f} {np.mean(zones):6.3f}       ".rjust(30) for tiles, zones in totals.values()]
    print("all".ljust(16), *cells)


if __name__ == "__main__":
    main("full" in sys.argv[1:])
