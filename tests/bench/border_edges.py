"""Edges of tiles that the frame's border cuts: how many are measured, and whether their intervals hold.

Run by hand: python -m tests.bench.border_edges [frames]. Frames of the outside renderer
(`tests/outside/renderer.py`) that are small beside their tiles, so that many are cut; an edge's row is by how much
of it lies in the frame. The truth is the renderer's, in closed form. No other study uses these seeds.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import measure_edges, tile_edges
from lensbench.loaders import read_shot
from lensbench.target.finder import find_tiles
from lensbench.target.layout import LEG_CORNERS, LEGS, make_layout, write_layout
from tests.outside.renderer import OutsideLens, write_outside_session

SEED = 424_200
FRAMES = {"coarse": (900, 600), "fine": (1500, 1000)}
INSIDE_PX = (0, 10, 16, 25, 40, 1000)


def random_lens(width: int, rng: np.random.Generator) -> OutsideLens:
    return OutsideLens(
        px_per_mm=width / 360,
        turn_deg=rng.uniform(-4, 4),
        bend=(rng.uniform(-0.05, 0.02), 0.0),
        fringe_px=(1.5, 0.0, -1.0),
        falloff_stops=1.0,
        sigma_px=(0.7, rng.uniform(0.8, 1.3)),
        stretch=rng.uniform(1, 1.4),
    )


def length_inside(ends: NDArray, size: tuple[int, int]) -> float:
    """How much of a line lies in the frame, in pixels."""
    places = ends[0] + np.linspace(0, 1, 400)[:, None] * (ends[1] - ends[0])
    inside = ((places >= 0) & (places <= np.array(size) - 1)).all(axis=1)
    return float(inside.mean() * np.hypot(*(ends[1] - ends[0])))


def study(lattice: str, seed: int) -> list[tuple[float, str, float]]:
    """Of each edge in the frame: how many pixels of it (-1 in whole tiles), why it is left out, error by sigma."""
    size = FRAMES[lattice]
    lens = random_lens(size[0], np.random.default_rng([SEED, seed]))
    layout = make_layout((36.0, 24.0), 0.1, lattice)
    with tempfile.TemporaryDirectory() as folder:
        file, shots = Path(folder) / "layout.json", Path(folder) / "shots"
        write_layout(file, layout)
        drawn = write_outside_session(shots, file, lens, size, (size[0] * 0.006, size[1] * 0.006), SEED + seed)
        shot = read_shot(shots / "sheet.dng")
    found = find_tiles(shot, layout)
    edges = measure_edges(shot, tile_edges(found), ["green"])["green"]
    row_of = {place: i for i, place in enumerate(zip(found.column, found.row, strict=True))}
    rows = []
    for i, place in enumerate(zip(layout.column, layout.row, strict=True)):
        corners = drawn.picture(layout.corners_mm[i], 1)
        whole = bool(((corners >= 0) & (corners <= np.array(size) - 1)).all())
        for k, (a, b) in enumerate(LEG_CORNERS):
            inside = length_inside(corners[[a, b]], size)
            if inside <= 0:
                continue
            if place not in row_of:
                rows.append((inside, "not found", np.nan))
                continue
            j = 3 * row_of[place] + k
            off = (edges.mtf50[j] - drawn.mtf50(corners, LEGS[k], 1)) / edges.mtf50_sigma[j]
            rows.append((-1.0 if whole else inside, str(edges.reason[j]), float(off)))
    return rows


def main(frames: int) -> None:
    for lattice, size in FRAMES.items():
        rows = [row for seed in range(frames) for row in study(lattice, seed)]
        print(f"{size[0]} × {size[1]}")
        for low, high in ((-2, 0), *pairwise(INSIDE_PX)):
            some = [row for row in rows if low <= row[0] < high]
            off = np.array([row[2] for row in some if row[1] == ""])
            name = "whole tiles" if high == 0 else f"{low} to {high} px in the frame"
            held = f"hold {100 * np.mean(np.abs(off) < 1.96):5.1f} %" if len(off) else ""
            left_out = Counter(row[1] for row in some if row[1])
            print(
                f"  {name:28s}{len(some):6d} edges, {len(off):6d} measured {held}   {dict(left_out)}", flush=True
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
