"""A small simulated bench: one lens, one sheet, and shots that go wrong one way each."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lensbench.demo import demo_bench
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Scene
from lensbench.simulator.session import Take, write_session
from lensbench.target.layout import make_layout

SIZE, SENSOR_MM, FOCAL_MM, MAGNIFICATION = (1500, 1000), (36.0, 24.0), 50.0, 0.1
TILT_DEG = (8.0, -5.0)
"""Right side farther away, upper side farther away."""

GOOD = Scene(magnification=MAGNIFICATION, white=0.74)
SCENES = {
    "good": GOOD,
    "again": GOOD,
    "leaning": replace(GOOD, tilt_deg=TILT_DEG),
    "clipped": replace(GOOD, white=1.2),
    "dark": replace(GOOD, white=0.06),
    "softer": replace(GOOD, defocus_mm=0.6),
    "soft": replace(GOOD, defocus_mm=2.2),
    "shifted": replace(GOOD, shift_mm=(230.0, 0.0)),
    "shaken": replace(GOOD, motion_px=(6.0, 0.0)),
}


def write_bench_shots(folder: Path) -> None:
    """One shot for each of `SCENES`, and a flat."""
    lens = Lens(focal_mm=FOCAL_MM, open_f_number=2.8, image_radius_mm=24.0, distortion=(-0.01, 0.0))
    bench = replace(
        demo_bench(),
        lens=lens,
        camera=Camera(size=SIZE, sensor_mm=SENSOR_MM, hot=20, dead=5),
        layout=make_layout(SENSOR_MM, MAGNIFICATION, "coarse"),
    )
    takes = [
        Take(f"{name}.dng", "target", 5.6, scene, seed=n) for n, (name, scene) in enumerate(SCENES.items(), 1)
    ]
    flat = Take("even.dng", "flat", 5.6, replace(GOOD, white=0.5), Panel(), seed=50)
    write_session(folder, bench, [*takes, flat], 2)
