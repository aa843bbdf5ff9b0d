"""Corrected pictures: what they still show beside the originals, what resampling costs, what is left of shadows.

Run by hand: python -m tests.bench.correction [--table | --sharpness | --shadows | --evening | --crops FOLDER]

Bars: lateral colour left ≤ 0.1 px, falloff ≤ 0.03 stop, distortion ≤ 0.05 % of the half-diagonal, in every zone;
no more than 3 % of MTF50 lost to resampling where it is 0.3 cy/px or less.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image

from lensbench import load_session, measure_session, read_shot
from lensbench.analysers.dust import find_marks
from lensbench.correction import Taken, Wanted, correct_pictures, correct_shot
from lensbench.correction._gains import Gains
from lensbench.correction._made import make_recipe
from lensbench.correction._planes import balanced_light, corrected_planes
from lensbench.correction._recipe import Recipe, Shadow
from lensbench.correction._registered import green_plane
from lensbench.correction._resampled import Spline, resampled
from lensbench.correction._warp import Warp
from lensbench.demo import demo_bench, demo_takes
from lensbench.demo._build import write_demo
from lensbench.findings import encode_report
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Colour, Dirt
from lensbench.simulator.scene import Scene
from lensbench.simulator.session import Take, write_session
from lensbench.target.layout import make_layout, read_layout, write_layout
from tests.correction import remaining
from tests.correction.reference_reader import developed
from tests.outside.renderer import OutsideLens, write_outside_session

ALL = ("falloff", "fringing", "distortion")
NONE_HOT = np.zeros((0, 2), np.int64)
OUTSIDE_SIZE, SENSOR_MM = (2400, 1600), (36.0, 24.0)


@dataclass
class Case:
    """A session with the shots to look at, and how they were taken."""

    name: str
    folder: Path
    target: str
    flat: str
    f_number: float


def demo_case(folder: Path) -> Case:
    """The invented build of `lensbench demo`: 12 megapixels, f/4."""
    write_demo(folder / "demo")
    return Case("demo, f/4", folder / "demo", "t_040.dng", "w_040.dng", 4.0)


def decentred_case(folder: Path) -> Case:
    """The demo's lens with its colours pulled aside as by a wedge, and more fringing and distortion."""
    bench = demo_bench()
    colours = {
        "red": Colour((0.61,), focus_mm=0.02, stretch=2e-4, stretch_outer=1.1e-3, shift_mm=(0.002, 0.001)),
        "green": Colour((0.54,)),
        "blue": Colour((0.46,), focus_mm=-0.02, stretch_outer=-8e-4, shift_mm=(-0.0015, 0.0), falloff_stops=0.08),
    }
    lens = replace(bench.lens, colours=colours, distortion=(-0.06, 0.008))
    takes = [take for take in demo_takes() if take.f_number == 8.0]
    write_session(folder / "decentred", replace(bench, lens=lens), takes, 2)
    return Case("decentred, f/8", folder / "decentred", "t_080.dng", "w_080.dng", 8.0)


def outside_case(folder: Path) -> Case:
    """A strongly bending, fringing and darkening lens of the outside renderer."""
    layout = folder / "outside-layout.json"
    write_layout(layout, make_layout(SENSOR_MM, 0.1))
    lens = OutsideLens(
        px_per_mm=OUTSIDE_SIZE[0] / 375, turn_deg=1.5, bend=(-0.10, 0.025), fringe_px=(4.0, 0.0, -3.0)
    )
    write_outside_session(folder / "outside", layout, lens, OUTSIDE_SIZE, SENSOR_MM)
    return Case("outside renderer", folder / "outside", "sheet.dng", "even.dng", 5.6)


CASES = (demo_case, decentred_case, outside_case)


def report_of(case: Case):
    """The session's report, written beside its folder."""
    report = measure_session(load_session(case.folder))
    case.folder.with_suffix(".json").write_bytes(encode_report(report))
    return report


# -- before and after -----------------------------------------------------------------------------------------


def table(folder: Path) -> None:
    """Worst zone before, after the DNG's opcodes by the reference code, and in planes as a TIFF holds them."""
    print(f"{'session':18}{'worst zone':>26}{'before':>10}{'DNG':>10}{'TIFF':>10}{'bar':>8}")
    for make in CASES:
        case = make(folder)
        report, layout = report_of(case), read_layout(case.folder / "target.json")
        pictures = [case.folder / name for name in (case.target, case.flat)]
        wanted = Wanted(folder / f"{case.folder.name}-copies", ("dng",), ALL, Taken(case.f_number))
        results = correct_pictures(case.folder.with_suffix(".json"), pictures, wanted)
        dng = [remaining.as_planes(developed(result.written[0]) / 65535) for result in results]
        shots = [read_shot(path) for path in pictures]
        tiff = [correct_shot(shot, report, f_number=case.f_number, kinds=ALL) for shot in shots]
        triple = list(zip(shots, dng, tiff, strict=True))
        rows = (
            ("lateral colour, px", [remaining.fringing_left(s, layout) for s in triple[0]], 0.1),
            ("distortion, %", [remaining.distortion_left(s, layout) for s in triple[0]], 0.05),
            ("falloff and cast, stops", [remaining.falloff_left(s) for s in triple[1]], 0.03),
        )
        for what, lefts, bar in rows:
            worst = "".join(f"{max(left.values()):10.3f}" for left in lefts)
            print(f"{case.name:18}{what:>26}{worst}{bar:8.2f}   {len(lefts[1])}, {len(lefts[2])} zones")
        for line in dict.fromkeys(line for result in results for line in result.caveats):
            print(f"{'':18}{line}")


# -- sharpness ------------------------------------------------------------------------------------------------


def sharpness(folder: Path) -> None:
    """Green's MTF50 of every tile after resampling over that before, by the degree of the spline."""
    for make in CASES:
        case = make(folder)
        report, layout = report_of(case), read_layout(case.folder / "target.json")
        shot = read_shot(case.folder / case.target)
        recipe = make_recipe(report, Taken(case.f_number), ALL).recipe
        warp, gains = Warp(recipe, ("red", "green", "blue")), Gains(recipe, shot.channels)
        green = green_plane(
            shot, np.minimum(balanced_light(shot, gains, NONE_HOT, np.ones(3), shot.white), 1), warp
        )
        raw, before = (remaining.green_mtf50(s, layout) for s in (shot, as_grey_planes(green)))
        print(
            f"{case.name}: demosaicing leaves {100 * shared_ratio(raw, before)[0]:.1f} % of the mosaic's own MTF50"
        )
        for degree in (1, 3, 5):
            start = time.perf_counter()
            moved = resampled(Spline.through(green, degree) if degree > 1 else Spline.linear(green), warp, "green")
            took = time.perf_counter() - start
            # What is scaled up by distortion is softer by as much a pixel without any loss.
            scale = local_scale(warp)
            after = remaining.green_mtf50(as_grey_planes(moved), layout)
            median, worst, count = shared_ratio(before, after, 0.3, scale)
            lost = f"{100 * (median - 1):+5.1f} % median, {100 * (worst - 1):+5.1f} % worst of {count} tiles"
            print(f"{case.name:18} degree {degree}: {lost} up to 0.3 cy/px, {took:.1f} s a plane")


def as_grey_planes(plane: np.ndarray):
    return remaining.as_planes(np.repeat(plane[:, :, None], 3, axis=2))


def local_scale(warp: Warp):
    """By how much things get larger at a place of the corrected picture, as the mean of both directions."""

    def scale(x: float, y: float) -> float:
        step = 8.0
        xs, ys = warp.read_at("green", np.array([x - step, x + step, x, x]), np.array([y, y, y - step, y + step]))
        area = (xs[1] - xs[0]) * (ys[3] - ys[2]) - (xs[3] - xs[2]) * (ys[1] - ys[0])
        return float(2 * step / np.sqrt(area))

    return scale


def shared_ratio(before, after, most: float = np.inf, scale=None):
    """Median and least ratio of the tiles that both show, freed of the change of scale, and how many."""
    ratios = [
        after[tile][0] * (scale(*after[tile][1]) if scale else 1) / before[tile][0]
        for tile in before.keys() & after.keys()
        if before[tile][0] <= most
    ]
    return float(np.median(ratios)), float(np.min(ratios)), len(ratios)


# -- shadows --------------------------------------------------------------------------------------------------


def shadows(folder: Path) -> None:
    """What is left of shadows, rms over their width, by how steeply they are taken to fade."""
    widths = (0.06, 0.09, 0.14, 0.2, 0.05, 0.07, 0.11, 0.3)
    places = [(x, y) for y in (-5, 5) for x in (-8, -3, 3, 8)]
    dirt = tuple(Dirt("spot", x, y, w, 0.8, distance_mm=1.0) for (x, y), w in zip(places, widths, strict=True))
    camera = Camera(size=(4320, 2880), sensor_mm=(23.4, 15.6), dirt=dirt)
    bench = replace(demo_bench(), camera=camera, lens=replace(demo_bench().lens, dirt=()))
    for f_number in (8.0, 16.0):
        scene = Scene(magnification=0.12, white=0.7)
        takes = [Take(f"{n}.dng", "flat", f_number, scene, seed=n) for n in (1, 2)]
        write_session(folder / f"dust-{f_number:g}", bench, takes, 2)
        first, second = (read_shot(folder / f"dust-{f_number:g}" / f"{n}.dng") for n in (1, 2))
        marks = find_marks(first).marks
        for steepness in (2.0, 3.0, 4.0, 6.0):
            light = second.samples[1::2, ::2].astype(float) - second.black[0]
            left = [depth_left(light, mark, steepness) for mark in marks if mark.depth_percent.value > 2]
            told = ", ".join(f"{100 * after:.1f} of {100 * before:.0f} %" for before, after in left)
            print(f"f/{f_number:g} steepness {steepness:g}: {told}")


def depth_left(light: np.ndarray, mark, steepness: float) -> tuple[float, float]:
    """Rms departure from the light around over the mark, before and after."""
    import lensbench.correction._recipe as recipe

    recipe.SHADOW_STEEPNESS = steepness
    width = float(np.sqrt(mark.width_px.value * mark.length_px.value))
    shadow = Shadow(np.array([(mark.x, mark.y)]), width, mark.depth_percent.value / 100)
    reach = int(width)
    rows, columns = (np.arange(int(c) - reach, int(c) + reach + 1) for c in (mark.y / 2, mark.x / 2))
    part = light[np.ix_(rows.clip(0, len(light) - 1), columns.clip(0, light.shape[1] - 1))]
    x, y = 2.0 * columns, 2.0 * rows + 1
    away = np.hypot(*np.meshgrid(x - mark.x, y - mark.y))
    around = np.median(part[(away > 1.2 * width) & (away < 1.8 * width)])
    inside = away < 0.9 * width
    noise = part[(away > 1.2 * width) & (away < 1.8 * width)].std() / around
    before, after = part / around - 1, part / shadow.light_at(x, y) / around - 1
    return tuple(float(np.sqrt(max((d[inside] ** 2).mean() - noise**2, 0))) for d in (before, after))


# -- an evening's pictures ------------------------------------------------------------------------------------


def evening(folder: Path) -> None:
    """Twenty pictures of 12 megapixels in one command: time and memory, by what is written."""
    case = demo_case(folder)
    report_of(case)
    pictures = folder / "pictures"
    pictures.mkdir()
    for number in range(20):
        content = (case.folder / case.target).read_bytes()
        (pictures / f"p_{number:02}.dng").write_bytes(content)
    for copies in (["dng"], ["display"], ["dng", "linear", "display"]):
        options = [option for kind in copies for option in ("--as", kind)]
        command = [sys.executable, "-m", "lensbench", "correct", str(case.folder.with_suffix(".json"))]
        command += [
            *map(str, sorted(pictures.iterdir())),
            "--aperture",
            "4",
            "--out",
            str(folder / "-".join(copies)),
        ]
        start = time.perf_counter()
        subprocess.run([*command, *options], check=True, capture_output=True)
        took = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
        size = sum(path.stat().st_size for path in (folder / "-".join(copies)).iterdir()) / 1e6
        print(f"20 pictures as {', '.join(copies)}: {took:.0f} s, largest process {peak:.2f} GB, {size:.0f} MB")


# -- to look at -----------------------------------------------------------------------------------------------


def crops(folder: Path, out: Path) -> None:
    """Corners and the middle at 200 %, before and after."""
    for make in CASES:
        case = make(folder)
        report, shot = report_of(case), read_shot(case.folder / case.target)
        recipe = make_recipe(report, Taken(case.f_number)).recipe
        nothing = Recipe(shot.size)
        pair = [
            corrected_planes(
                shot, Gains(r, shot.channels), Warp(r, ("red", "green", "blue")), NONE_HOT, np.ones(3)
            )
            for r in (nothing, recipe)
        ]
        width, height = shot.size
        for name, x, y in (
            ("top-left", 10, 10),
            ("bottom-right", width - 230, height - 230),
            ("middle", width // 2, height // 2),
        ):
            parts = [np.clip(p[y : y + 220, x : x + 220], 0, 1) ** (1 / 2.2) for p in pair]
            image = Image.fromarray((255 * np.concatenate(parts, axis=1)).astype(np.uint8))
            image.resize((880, 440), Image.Resampling.NEAREST).save(out / f"{case.folder.name} {name}.png")


def main() -> None:
    """Run what is asked for, or everything that prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    studies = {"table": table, "sharpness": sharpness, "shadows": shadows, "evening": evening}
    for name in studies:
        parser.add_argument(f"--{name}", action="store_true")
    parser.add_argument("--crops", type=Path)
    asked = parser.parse_args()
    chosen = [name for name in studies if getattr(asked, name)] or (list(studies) if not asked.crops else [])
    for name in chosen:
        with tempfile.TemporaryDirectory() as folder:
            studies[name](Path(folder))
    if asked.crops:
        asked.crops.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            crops(Path(folder), asked.crops)


if __name__ == "__main__":
    main()
