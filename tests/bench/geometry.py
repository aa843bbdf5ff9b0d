"""Accuracy of magnification, distortion and field of view.

python -m tests.bench.geometry [--small] [--lines | --shots | --hold]

First many lenses on hand-made lines (bias, spread and how often the intervals hold the truth), then simulated
shots, found and measured as a user's would be. ``--hold`` shows how often intervals hold over many more shots: the
number of terms is then as often one too few or too many as it is at a bench.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np

from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.analysers.geometry._fitting import fit_mapping
from lensbench.analysers.geometry._rulers import Rulers
from lensbench.frame import centre_of, half_diagonal
from lensbench.simulator.lens import Lens
from lensbench.simulator.scene import Print, Scene
from lensbench.target.layout import make_layout
from tests.analysers.geometry.invented_lines import SIZE, Camera, radial_distortion, seen_lines, set_squares
from tests.bench.place_shots import FULL, SMALL, Taken, take

BARS = "bars: magnification 0.05 %, distortion 0.02 % of the half-diagonal"
SHOTS = 20


def fisheye(radius):
    return np.arctan(1.2 * radius) / 1.2


LINES = {
    "no distortion": Camera(),
    "barrel 3 %": Camera(distorted=radial_distortion(-0.03)),
    "barrel 3 %, turned, tilted 3°": Camera(
        distorted=radial_distortion(-0.03), turn=5, right_away=3, bottom_away=-1
    ),
    "wave": Camera(distorted=radial_distortion(-0.06, 0.05), turn=-9, right_away=5),
    "cushion, corners at 1.2": Camera(distorted=radial_distortion(0.3), distance=700),
    "fisheye, corners at 0.5": Camera(distorted=fisheye, distance=400, turn=10, right_away=10),
    "off axis by 140 px": Camera(distorted=radial_distortion(-0.06), axis_px=(3100, 1900)),
    "tilted 10°": Camera(distorted=radial_distortion(-0.03), right_away=10),
}


def lines_row(name: str, camera: Camera, noise_px: float, print_mm: float) -> str:
    """Scale, distortion, turn and centre over many shots of one camera, with perfect rulers."""
    layout = set_squares(29, 25) if "fisheye" in name else set_squares()
    ideal = np.linspace(0, 3, 30001)
    radius = camera.distorted(ideal)
    seen = (radius <= 1) & (np.diff(radius, append=np.inf) > 0)
    scale, worst, held, seconds = [], [], [], []
    for seed in range(SHOTS):
        lines = seen_lines(camera, layout, noise_px, seed=seed, print_mm=print_mm, ink_mm=0.03)
        start = time.perf_counter()
        fit = fit_mapping(lines, layout, SIZE, Rulers(np.ones(2), np.full(2, 1e-5)))
        seconds.append(time.perf_counter() - start)
        axis = np.asarray(camera.axis_px)
        values, own, shared = fit.value_and_sigmas(
            lambda m, axis=axis: np.array([m.scale(axis), m.turn, *m.centre])
        )
        truth = np.array([camera.image_mm / camera.pitch_mm / camera.distance, np.radians(camera.turn), *axis])
        scale.append(100 * (values[0] / truth[0] - 1))
        worst.append(100 * np.abs(fit.mapping.distorted_radius(ideal[seen]) - radius[seen]).max())
        held.append(
            (np.abs(values - truth) <= 1.96 * np.hypot(own, shared))[: 2 if name == "no distortion" else 4]
        )
    return (
        f"{name:32s} {np.mean(scale):+8.4f} {np.std(scale):7.4f} {np.abs(scale).max():7.4f} | "
        f"{np.mean(worst):7.4f} {np.max(worst):7.4f} | {100 * np.mean(held):5.1f} % | {np.median(seconds):.2f} s"
    )


HELD_SHOTS = 400
HELD_SEED = 70_000

HELD = {
    "no distortion": (Camera(), set_squares(13, 9, 36.0), 0.1, 0.01),
    "barrel 1 %": (Camera(distorted=radial_distortion(-0.01)), set_squares(13, 9, 36.0), 0.05, 0.005),
    "barrel 2 %": (
        Camera(distorted=radial_distortion(-0.02), turn=2, right_away=1), set_squares(13, 9, 36.0), 0.1, 0.01
    ),
    "barrel 8 %": (Camera(distorted=radial_distortion(-0.08), right_away=2), set_squares(), 0.03, 0.005),
    "wave": (LINES["wave"], set_squares(), 0.05, 0.01),
    "cushion 10 %": (Camera(distorted=radial_distortion(0.1), distance=550), set_squares(), 0.05, 0.005),
    "off axis": (LINES["off axis by 140 px"], set_squares(), 0.05, 0.01),
}  # fmt: skip
"""Camera, sheet, noise of edges in px, displacement of tiles in mm."""


def held_row(name: str) -> str:
    """How often intervals hold, and median half-width over the error's 95th percentile, figure by figure."""
    camera, layout, noise_px, print_mm = HELD[name]
    axis, ideal, h = np.asarray(camera.axis_px), np.linspace(0, 1.6, 16001), np.array([0.5, 0.9])
    paraxial = camera.image_mm / camera.pitch_mm / camera.distance
    truth = np.array(
        [np.radians(camera.turn), *axis, paraxial, *(h / np.interp(h, camera.distorted(ideal), ideal))]
    )

    def figures(m):
        return np.array([m.turn, *m.centre, m.scale(axis), *(1 / m.undistorted_ratio(h))])

    error, sigma = [], []
    for seed in range(HELD_SEED, HELD_SEED + HELD_SHOTS):
        lines = seen_lines(camera, layout, noise_px, seed=seed, print_mm=print_mm)
        fit = fit_mapping(lines, layout, SIZE, Rulers(np.ones(2), np.full(2, 1e-5)))
        values, own, shared = fit.value_and_sigmas(figures)
        error.append(np.abs(values - truth))
        sigma.append(np.hypot(own, shared))
    half = 1.96 * np.array(sigma)
    held = 100 * np.mean(error <= half, axis=0)
    ratio = np.median(half, axis=0) / np.percentile(error, 95, axis=0)
    if name == "no distortion":
        held[1:3] = ratio[1:3] = np.nan
    return f"{name:16s}" + "".join(f"{part:8.1f}" for part in held) + " |" + "".join(f"{r:7.2f}" for r in ratio)


def print_held() -> None:
    heads = "".join(f"{head:>8s}" for head in ("turn", "x", "y", "scale", "h 0.5", "h 0.9"))
    print(f"\nheld in % of {HELD_SHOTS} shots{heads} | median half-width over the error's 95th percentile")
    for name in HELD:
        print(held_row(name), flush=True)


def shots(edge_mm: float) -> dict[str, tuple[Lens, Scene]]:
    """Simulated lenses and scenes."""
    return {
        "barrel 2 %": (Lens(image_radius_mm=edge_mm, distortion=(-0.02,)), Scene()),
        "strong barrel, turned 5°, tilted": (
            Lens(image_radius_mm=edge_mm, distortion=(-0.12, 0.03)),
            Scene(turn_deg=5.0, tilt_deg=(2.0, -1.0), magnification=0.08),
        ),
        "wave, coma": (
            Lens(image_radius_mm=edge_mm, distortion=(-0.06, 0.05), coma_um=1.0), Scene(shift_mm=(8, -5))
        ),
        "cushion, axis 0.6 mm off": (
            Lens(image_radius_mm=edge_mm, distortion=(0.03,), decentre_mm=(0.6, -0.3)), Scene()
        ),
        "decentring": (Lens(image_radius_mm=edge_mm, distortion=(-0.03,), decentring=(0.0006, -0.0003)), Scene()),
        "ink, ragged, scaled print": (
            Lens(image_radius_mm=edge_mm, distortion=(-0.02,)),
            Scene(print=Print(scale=(1.004, 0.997), ink_spread_mm=0.04, raggedness_mm=0.02)),
        ),
        "life size": (Lens(focal_mm=20.0, image_radius_mm=edge_mm, distortion=(-0.01,)), Scene(magnification=1.0)),
    }  # fmt: skip


def curve_error(taken: Taken, geometry) -> float:
    """Largest error of the measured distortion over the frame's diagonals, in percent of the half-diagonal.

    The model's own undistorting of points from the axis to the corners, against the lens's, scale and shift
    fitted: what a tilt or a moved centre takes up is no error of shape.
    """
    size = taken.camera.size
    unit = half_diagonal(size)
    corner = np.array([(-0.5, -0.5), (size[0] - 0.5, -0.5), (size[0] - 0.5, size[1] - 0.5), (-0.5, size[1] - 0.5)])
    points = (centre_of(size) + np.linspace(0.1, 1, 10)[:, None, None] * (corner - centre_of(size))).reshape(-1, 2)
    projection = taken.projection
    true = projection.pixels(projection.undistorted_mm(projection.millimetres(points)))
    distorted = geometry.distortion
    away = (points - distorted.about_px) / unit
    square = np.square(away).sum(axis=1, keepdims=True)
    ours = away * (1 + sum(t.value * square ** (k + 1) for k, t in enumerate(distorted.terms)))
    ones = np.ones((len(points), 1))
    off = true - np.hstack([ours, ones]) @ np.linalg.lstsq(np.hstack([ours, ones]), true, rcond=None)[0]
    return float(100 * np.hypot(*off.T).max() / unit)


def target_of(taken: Taken, name: str, rail_mm: float | None = None, mtf50: float | None = None) -> TargetShot:
    lines = Lines.measured(taken.found, taken.responses["green"], taken.camera.size)
    return TargetShot(name, lines, taken.found.mirrored, rail_mm, mtf50)


def shot_row(name: str, lens: Lens, scene: Scene, camera) -> str:
    """One shot and a second one a tenth farther away."""
    layout = make_layout(camera.sensor_mm, scene.magnification)
    rulers = tuple(r * s for r, s in zip(layout.rulers_mm, scene.print.scale, strict=True))
    near = take(lens, camera, scene, layout=layout)
    step = near.projection.object_distance_mm * 0.1
    far = take(lens, camera, replace(scene, rail_mm=step), layout=layout, seed=2)
    pair = [target_of(near, "near", 0.0, 0.2), target_of(far, "far", step, 0.1)]
    found = measure_geometry(pair, layout, camera.size, camera.sensor_mm, rulers, lens.pupil_ratio)
    parts = [
        100 * (found.magnification.value / near.truth.magnification - 1),
        curve_error(near, found),
        found.target_turn_deg.value - scene.turn_deg,
        found.alignment.right_away_deg.value - scene.tilt_deg[0],
        found.alignment.bottom_away_deg.value - scene.tilt_deg[1],
        100 * (found.view.image_distance_mm.value / near.truth.image_distance_mm - 1),
        100 * (found.view.focal_length_mm.value / lens.focal_mm - 1),
        found.field_of_view_deg.value,
        *(found.distortion.about_px - np.asarray(centre_of(camera.size))),
        found.distortion.residual_px.value,
        found.ink_spread_um.value,
    ]
    return f"{name:32s} {found.distortion.shape:8s}" + "".join(f"{part:10.4f}" for part in parts)


def print_lines() -> None:
    for noise, printed in ((0.02, 0.0), (0.05, 0.02)):
        print(f"\nlines with {noise} px of noise, tiles {printed} mm out of place, {SHOTS} shots each")
        print(f"{'':32s}  scale %: mean, spread, worst | distortion %: mean, worst | intervals held | a fit")
        for name, camera in LINES.items():
            print(lines_row(name, camera, noise, printed), flush=True)


def print_shots(camera) -> None:
    print("\nsimulated shots, and a second one a tenth farther away; errors but for the last five")
    heads = ["magn. %", "distortion %", "turn °", "right °", "bottom °", "distance %", "focal %"]
    heads += ["field °", "centre x", "centre y", "left px", "ink µm"]
    print(f"{'':41s}" + "".join(f"{head:>10s}" for head in heads))
    for name, (lens, scene) in shots(camera.sensor_mm[0] * 0.6009).items():
        print(shot_row(name, lens, scene, camera), flush=True)


def main() -> None:
    print(BARS)
    if "--hold" in sys.argv:
        print_held()
        return
    if "--shots" not in sys.argv:
        print_lines()
    if "--lines" not in sys.argv:
        print_shots(SMALL if "--small" in sys.argv else FULL)


if __name__ == "__main__":
    main()
