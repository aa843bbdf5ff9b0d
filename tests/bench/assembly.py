"""Verdicts on builds with planted faults: python -m tests.bench.assembly [builds | --rendered]

Random aberrated lenses with a lean of 0.2 to 1° (of lens, of mount or sensor, of the front group), one part or
the whole lens 0.1 to 0.6 mm off, a curved field, an iris that sticks, a target that leaned, or nothing. Half are
judged by single shots and the turn test, half by a series along the rail. Right is the right answer with the right
part named; where the fault defocuses a corner by less than a quarter-wave depth (a fifth of it along the rail),
"can't tell" is right too, and centres less than 0.55 mm apart are together. Bars: 95 of 100 right; no "not
straight" of builds that are straight. With ``--rendered`` a few small frames go the whole way instead: rendered,
written, found, measured, judged.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from lensbench import load_session, measure_session
from lensbench.dng import write_dng
from lensbench.findings import Assembly, Setting
from lensbench.formatting import with_interval
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens, turned
from lensbench.simulator.scene import Scene
from lensbench.simulator.target_shot import target_shot
from lensbench.target.layout import make_layout, write_layout
from lensbench.verdicts.assembly import judge_assembly
from tests.planted_builds import CAMERA, Build

SEED = 31_780_000
FLANGE_MM = 52.0
CROOKED = ("lens", "mount or sensor", "front group", "part off")
STRAIGHT = ("nothing", "curved", "sticking iris", "target", "whole off")
RAIL_ONLY_KNOWS = {"lens": "lens or mount", "mount or sensor": "lens or mount", "front group": "lens or mount"}
"""A series along the rail without a turn of the lens tells that something leans, not which part."""


def random_lens(rng: np.random.Generator, curved: bool = False) -> tuple[Lens, float]:
    """A straight but aberrated lens, and its f-number."""
    f_number = float(rng.choice([4.0, 5.6, 8.0]))
    lens = Lens(
        open_f_number=f_number,
        coma_um=float(rng.uniform(-1, 1)),
        spherical_um=float(rng.uniform(-0.5, 0.5)),
        astigmatism_um=float(rng.uniform(-0.6, 0.6)),
        curvature_um=float(rng.choice([-1, 1]) * rng.uniform(0.8, 2.0))
        if curved
        else float(rng.uniform(-0.8, 0.8)),
    )
    return lens, f_number


def planted(fault: str, seed: int) -> Build:
    """A build with one fault."""
    rng = np.random.default_rng(SEED + seed)
    lens, f_number = random_lens(rng, fault == "curved")
    way = rng.uniform(0, 2 * np.pi)
    unit = np.array([np.cos(way), np.sin(way)])

    def along(least: float, most: float) -> tuple[float, float]:
        x, y = rng.uniform(least, most) * unit
        return float(x), float(y)

    sheet = rng.normal(0, 0.15, 2)
    of_fault = {
        "lens": {"lean_deg": along(0.2, 1.0)},
        "mount or sensor": {"camera_deg": along(0.2, 1.0)},
        "front group": {"front_deg": along(0.2, 1.0)},
        "part off": {"part_off_mm": along(0.1, 0.6)},
        "whole off": {"off_mm": along(0.1, 0.6)},
        "sticking iris": {"marked": f_number * float(rng.choice([1.41, 2.0]))},
        "target": {"sheet_deg": along(0.8, 2.5)},
    }
    return Build(
        lens, f_number, **{"sheet_deg": (float(sheet[0]), float(sheet[1])), "seed": seed} | of_fault.get(fault, {})
    )


def shots(build: Build, fault: str, rail: bool) -> list[Setting]:
    """A series along the rail, or three shots: plain, the lens (or the front group) turned half and a quarter."""
    if rail:
        return [build.series()]
    part = "front group" if fault == "front group" else "lens"
    return [build.setting(), build.setting(180.0, part), build.setting(90.0, part)]


def judged_right(build: Build, fault: str, rail: bool, verdict: Assembly) -> bool:
    """Whether a verdict is right, or "can't tell" where that is as good."""
    leans = [f.whose for f in verdict.faults if f.what == "lean"]
    depths = max(map(build.depths, (build.lean_deg, build.camera_deg, build.front_deg)))
    small = depths < (0.2 if rail else 1.0)
    if verdict.answer == "can't tell":
        return small
    if fault in STRAIGHT:
        return verdict.answer == "straight"
    if fault == "part off":
        # Centres that lie no farther apart than counts as together are together.
        return verdict.answer == "not straight" or float(np.hypot(*build.part_off_mm)) < 0.55
    wanted = RAIL_ONLY_KNOWS[fault] if rail else fault
    return verdict.answer == "not straight" and wanted in leans


SMALL = Camera(size=(1500, 1000), sensor_mm=(9.0, 6.0))
MAGNIFICATION = 0.2


def rendered(folder: Path, fault: str, seed: int) -> tuple[Assembly, float]:
    """The verdict on three rendered shots (plain, the lens turned half and a quarter), and the planted degrees."""
    rng = np.random.default_rng(SEED + seed)
    way, size = rng.uniform(0, 2 * np.pi), float(rng.uniform(0.4, 1.2))
    lean = size * np.array([np.cos(way), np.sin(way)])
    layout = make_layout(SMALL.sensor_mm, MAGNIFICATION, "coarse")
    takes = []
    for turn in (0.0, 180.0, 90.0):
        stays = turned((float(lean[0]), float(lean[1])), -turn)
        x, y = {"lens": lean, "mount or sensor": stays}.get(fault, np.zeros(2))
        lens = Lens(
            focal_mm=25.0, image_radius_mm=5.4, open_f_number=4.0, coma_um=0.5, curvature_um=-0.4,
            astigmatism_um=0.3, spherical_um=0.2, lean_deg=(float(x), float(y)),
        )  # fmt: skip
        scene = Scene(magnification=MAGNIFICATION, lens_turn_deg=turn, tilt_deg=(0.1, -0.1))
        shot, _ = target_shot(lens, SMALL, layout, scene, 4.0, seed + int(turn))
        write_dng(folder / f"t_{turn:03.0f}.dng", shot)
        takes.append(f'file = "t_{turn:03.0f}.dng"\nshows = "target"\nf_number = 4.0\nlens_turn_deg = {turn}')
    write_layout(folder / "target.json", layout)
    head = f'[build]\nname = "planted"\n[camera]\nsensor_mm = [{SMALL.sensor_mm[0]}, {SMALL.sensor_mm[1]}]\n'
    rulers = ", ".join(f"{length:.3f}" for length in layout.rulers_mm)
    target = f'[target]\nlayout = "target.json"\nrulers_measured_mm = [{rulers}]\n'
    (folder / "session.toml").write_text(head + target + "".join(f"[[shot]]\n{one}\n" for one in takes))
    report = measure_session(load_session(folder), workers=1)
    assert report.verdict is not None
    assert report.verdict.assembly is not None
    return report.verdict.assembly, size


def print_rendered() -> None:
    for seed, fault in enumerate(("lens", "mount or sensor", "nothing")):
        with TemporaryDirectory() as folder:
            verdict, size = rendered(Path(folder), fault, 5_000 + seed)
        leans = [(f.whose, f.side, with_interval(f.angle_deg)) for f in verdict.faults if f.angle_deg]
        planted_deg = "" if fault == "nothing" else f" of {size:.2f}°"
        print(f"rendered: {fault}{planted_deg}: {verdict.answer}, {leans}", flush=True)


def main() -> None:
    if "--rendered" in sys.argv:
        print_rendered()
        return
    builds = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    faults = (*CROOKED, *STRAIGHT)
    seen: dict[tuple[str, bool], Counter] = {}
    for k in range(builds):
        rail, fault = bool(k % 2), faults[k // 2 % len(faults)]
        build = planted(fault, k)
        verdict = judge_assembly(shots(build, fault, rail), CAMERA, FLANGE_MM)
        right = judged_right(build, fault, rail, verdict)
        seen.setdefault((fault, rail), Counter()).update([verdict.answer, "right" if right else "wrong"])
        if not right:
            leans = [(f.whose, f.angle_deg.value) for f in verdict.faults if f.angle_deg]
            print(
                f"# {k} {fault} {'rail' if rail else 'turn'}: {verdict.answer} {leans} {build}"[:300], flush=True
            )
    print(f"{'fault':16s} {'by':5s} builds  right  not straight  straight  can't tell")
    for (fault, rail), count in sorted(seen.items()):
        total = count["right"] + count["wrong"]
        told = "".join(f"{count[answer]:12d}" for answer in ("not straight", "straight", "can't tell"))
        print(f"{fault:16s} {'rail' if rail else 'turn':5s} {total:6d} {count['right']:6d} {told}")
    right = sum(count["right"] for count in seen.values())
    alarms = sum(count["not straight"] for (fault, _), count in seen.items() if fault in STRAIGHT)
    print(f"right {right} of {builds}; straight builds called not straight: {alarms}")


if __name__ == "__main__":
    main()
