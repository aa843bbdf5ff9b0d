"""Accuracy of lateral colour against simulated lenses: python -m tests.bench.fringing [--small].

Each row is one lens; tiles are those wholly in the frame, then those that its border cuts.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from lensbench.analysers.fringing import measure_fringing
from lensbench.findings import Fringing
from lensbench.frame import centre_of
from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.scene import Print, Scene
from tests.bench.place_shots import FULL, SMALL, Taken, take

BARS = "bars: bias 0.010 px, spread 0.020 px"


def colours(red: dict, blue: dict) -> dict[str, Colour]:
    return {"red": Colour((0.61,), **red), "green": Colour((0.54,)), "blue": Colour((0.46,), **blue)}


def lenses(edge_mm: float) -> dict[str, tuple[Lens, Scene, float]]:
    """Lenses whose colours part by 2 to 7 px in the corners of the full frame; name -> lens, scene, f-number."""
    wide = {"stretch": 0.0004, "stretch_outer": 0.0006}, {"stretch": -0.0003, "stretch_outer": -0.0005}
    strong = {"stretch": 0.0005, "stretch_outer": 0.0014}, {"stretch": -0.0006, "stretch_outer": -0.0011}
    focus = {**wide[0], "focus_mm": 0.06}, {**wide[1], "focus_mm": -0.08}
    base = {"image_radius_mm": edge_mm, "distortion": (-0.02,)}
    plain = Scene()
    return {
        "sharp": (Lens(colours=colours(*wide), **base), plain, 5.6),
        "strong, bent, turned 5°": (
            Lens(colours=colours(*strong), image_radius_mm=edge_mm, distortion=(-0.08, 0.02)),
            Scene(turn_deg=5.0),
            5.6,
        ),
        "colours out of focus": (Lens(colours=colours(*focus), **base), plain, 4.0),
        "coma": (Lens(colours=colours(*wide), coma_um=1.2, **base), plain, 4.0),
        "coma, colours out of focus": (Lens(colours=colours(*focus), coma_um=1.2, **base), plain, 4.0),
        "decentred, wedge": (
            Lens(
                colours=colours({**wide[0], "shift_mm": (0.004, -0.002)}, wide[1]),
                colour_decentre_mm=(0.8, -0.5),
                axial_coma_um=(0.2, 0.1),
                **base,
            ),
            plain,
            5.6,
        ),
        "dark, ink spread": (
            Lens(colours=colours(*wide), **base),
            Scene(white=0.2, print=Print(ink_spread_mm=0.03, raggedness_mm=0.01)),
            5.6,
        ),
    }


def row(name: str, taken: Taken) -> str:
    """Errors of the tiles of one shot, and its centres and worst corner."""
    start = time.perf_counter()
    found = measure_fringing(taken.found, taken.responses, taken.camera.size)
    seconds = time.perf_counter() - start
    errors = "   ".join(errors_of(taken, found, channel) for channel in ("red", "blue"))
    cx, cy = centre_of(taken.camera.size)
    known = [(f.channel, f.centre_px.x, f.centre_px.y) for f in found.fields if f.centre_px]
    centres = [f"{name} ({x.value - cx:.1f}, {y.value - cy:.1f}) ± {x.half_width:.1f}" for name, x, y in known]
    worst = found.worst
    band = (
        f"{worst.zone}: {worst.apart_px.value:.2f} px apart, band {worst.width_px.value:.2f} px" if worst else ""
    )
    return f"{name:28s} {errors}\n{'':28s} centres {'  '.join(centres)}; {band}; {seconds:.2f} s"


def errors_of(taken: Taken, found: Fringing, channel: str) -> str:
    """Bias, spread, worst error and share of intervals that hold the truth, of whole tiles and of cut ones."""
    tiles = [tile for tile in found.tiles if getattr(tile, channel)]
    index = taken.rows_of_truth([t.column for t in tiles], [t.row for t in tiles])
    truth = taken.true_shifts(channel, index, np.array([(t.x, t.y) for t in tiles]))
    shifts = [getattr(tile, channel) for tile in tiles]
    off = np.array([(s.dx.value, s.dy.value) for s in shifts]) - truth
    half = np.array([(s.dx.half_width, s.dy.half_width) for s in shifts])
    whole = taken.truth.whole[index]
    good, cut = off[whole], off[~whole]
    return (
        f"{channel:4s} {np.hypot(*truth.T).max():5.2f} {np.abs(good.mean(axis=0)).max():7.4f} {good.std():7.4f} "
        f"{np.abs(good).max():7.4f} {100 * np.mean(np.abs(good) <= half[whole]):5.1f}% | "
        f"{len(cut):3d} {cut.std():7.4f} {np.abs(cut).max(initial=0):7.4f}"
    )


def main() -> None:
    camera = SMALL if "--small" in sys.argv else FULL
    print(BARS)
    print(f"{'':28s}      most    bias  spread   worst  held | cut  spread   worst")
    for name, (lens, scene, f_number) in lenses(camera.sensor_mm[0] * 0.6009).items():
        print(row(name, take(lens, camera, scene, f_number)), flush=True)


if __name__ == "__main__":
    main()
