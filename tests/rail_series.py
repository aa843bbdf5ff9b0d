"""Takes that belong together: a series along the rail, and the same aperture mounted and focused anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lensbench.simulator.scene import Scene
from lensbench.simulator.session import Take


def rail_series(
    name: str,
    f_number: float,
    scene: Scene,
    away_mm: Sequence[float],
    reading_mm: Sequence[float] | None = None,
    setup: int = 1,
    seed: int = 0,
) -> list[Take]:
    """Target shots along a rail, focus and aperture untouched.

    Parameters
    ----------
    name : str
        What the files' names begin with.
    scene : Scene
        All but where on the rail.
    away_mm : sequence of float
        How much farther than `scene` the sheet stands in each shot.
    reading_mm : sequence of float, optional
        What the rail's scale says; `away_mm` unless it counts otherwise, or was read wrong.
    """
    readings = away_mm if reading_mm is None else reading_mm
    return [
        Take(
            f"{name}_{number:02d}.dng",
            "target",
            f_number,
            replace(scene, rail_mm=scene.rail_mm + float(away)),
            setup=setup,
            seed=seed + number,
            rail_mm=float(reading),
        )
        for number, (away, reading) in enumerate(zip(away_mm, readings, strict=True))
    ]


def remounted(
    name: str, f_number: float, scene: Scene, setups: int, defocus_mm: float, tilt_deg: float = 0.0, seed: int = 0
) -> list[Take]:
    """One target shot a setup, each focused and set up anew with errors of the given standard deviations."""
    rng = np.random.default_rng(seed)
    takes = []
    for setup in range(1, setups + 1):
        focus, across, down = rng.standard_normal(3)
        changed = replace(
            scene,
            defocus_mm=scene.defocus_mm + focus * defocus_mm,
            tilt_deg=(scene.tilt_deg[0] + across * tilt_deg, scene.tilt_deg[1] + down * tilt_deg),
        )
        takes.append(Take(f"{name}_{setup}.dng", "target", f_number, changed, setup=setup, seed=seed + setup))
    return takes
