"""How often each warning is given, on honest shots and on shots spoilt on purpose, through random lenses.

Run it by hand: ``python -m tests.bench.warnings [lenses]``. Every lens is invented anew: strongly aberrated,
centred or not, at f/2.8 to f/8. A row is what was done to its shots, a column how many were warned of what.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np

from lensbench.analysers.geometry import Lines, TargetShot, measure_geometry
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import Camera, Setting
from lensbench.run._noise_warnings import target_noise_notices
from lensbench.run._print_warnings import print_notices
from lensbench.run._setting_warnings import setting_notices
from lensbench.run._shot_warnings import sign_notices
from lensbench.simulator.lens import Lens
from lensbench.simulator.scene import Print
from lensbench.verdicts.limits import judge_limits
from tests import spoiled_shots as shots
from tests.findings.alter import alter
from tests.spoiled_shots import PLAIN, Seen

CODES = (
    "motion",
    "sharpened",
    "tone-curve",
    "noise-reduced",
    "out-of-focus",
    "tilted",
    "print-limited",
    "short-edges",
)
CAMERA = Camera(shots.SIZE, shots.SENSOR_MM, shots.PITCH_UM)
AFTERWARDS = {
    "sharpened": shots.sharpened,
    "power 1/2.2": shots.curved,
    "median": shots.denoised,
    "resampled": shots.resampled,
}


def random_lens(rng: np.random.Generator) -> Lens:
    """A home-built lens of the worse kind; its focus is where the builder would put it."""
    return replace(
        PLAIN,
        spherical_um=rng.uniform(0, 1),
        coma_um=rng.uniform(-5, 5),
        axial_coma_um=tuple(rng.normal(0, 0.4, 2)),
        astigmatism_um=rng.uniform(-5, 5),
        curvature_um=rng.uniform(-4, 4),
        lean_deg=tuple(rng.normal(0, 0.3, 2)),
        decentre_mm=tuple(rng.normal(0, 0.4, 2)),
    )


def warned(seen: Seen, f_number: float) -> set[str]:
    """The codes of all notices of one shot."""
    signs = seen.signs()
    notices = [*sign_notices(signs, "t.dng"), *target_noise_notices(seen.noise(), signs, "t.dng")]
    setting = Setting(f_number)
    alter(
        setting,
        sharpness=measure_sharpness([ShotEdges("t.dng", seen.responses, seen.found)], shots.SIZE, shots.PITCH_UM),
    )
    lines = Lines.measured(seen.found, seen.grey, shots.SIZE)
    alter(
        setting,
        geometry=measure_geometry(
            [TargetShot("t.dng", lines, False, None, 0.3)],
            shots.LAYOUT,
            shots.SIZE,
            shots.SENSOR_MM,
            shots.LAYOUT.rulers_mm,
            1.0,
        ),
    )
    alter(setting, magnification=setting.geometry.magnification)
    alter(setting, limits=judge_limits(setting, shots.SIZE, shots.PITCH_UM, 1.0, 2400, signs.raggedness_px))
    notices += setting_notices(setting, CAMERA, "grey", 1.0, signs.motion is not None)[0]
    return {notice.code for notice in [*notices, *print_notices([setting])]}


def main(lenses: int) -> None:
    rng = np.random.default_rng(7)
    table: dict[str, Counter] = {}
    for number in range(lenses):
        name, f_number = f"random {number}", float(rng.choice([2.8, 4, 5.6, 8]))
        shots.LENSES[name] = random_lens(rng)
        length, turn = rng.uniform(1.5, 4), rng.uniform(0, np.pi)
        scenes = {
            "honest": {},
            "moved 1.5–4 px": {"motion_px": (length * np.cos(turn), length * np.sin(turn))},
            "2.5 waves of defocus": {"defocus_mm": 2.5 * 8 * (f_number * 1.12) ** 2 * 0.55e-3},
            "sheet leaning 12°": {"tilt_deg": (12.0 if number % 2 else -12.0, 0.0)},
            "ragged by 0.3 px": {"print": Print(raggedness_mm=0.3 * 0.006 / 0.12, dot_mm=0.07)},
        }
        for what, scene in scenes.items():
            seen = shots.taken(name, f_number=f_number, **scene)
            table.setdefault(what, Counter()).update(warned(seen, f_number))
            if what == "honest":
                for later, change in AFTERWARDS.items():
                    spoiled = shots.afterwards(seen, change, every=1)
                    table.setdefault(later, Counter()).update(warned(spoiled, f_number))
    print(f"{lenses} lenses".ljust(22), *(code.rjust(13) for code in CODES))
    for what, counts in table.items():
        print(what.ljust(22), *(str(counts[code]).rjust(13) for code in CODES))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 12)
