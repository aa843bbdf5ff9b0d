"""Small sessions of many kinds with fixed seeds, for `tests.bench.frozen`: what they show is always the same.

Most are variations of the demo: a part of its frame with pixels as small, its lens in the same measure.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
import tomlkit

from lensbench.demo import MAGNIFICATION, demo_bench, demo_takes
from lensbench.dng import write_dng
from lensbench.loaders import read_shot
from lensbench.simulator.lens import Barrel, Colour, Dirt, Reflection
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.session import Bench, Take, write_session
from lensbench.target.layout import make_layout, write_layout
from tests.drawn_blades import Blade, blades_shot
from tests.invented_shots import BAYER, RGB, RGBG, SIX
from tests.outside.renderer import OutsideLens, write_outside_session
from tests.rail_series import rail_series, remounted

SHEET = Scene(magnification=MAGNIFICATION, turn_deg=0.6, tilt_deg=(0.25, -0.1), print=Print(ink_spread_mm=0.012))
EVEN = Scene(magnification=MAGNIFICATION, white=0.7)
UNEVEN = Panel(slope=(0.08, -0.05), bulge=0.15, dirt=(Dirt("spot", 1.2, -0.9, 0.12, 0.3, 40.0),))

Keys = Mapping[str, Any]
"""Keys of the session file that a Take doesn't know; None takes one out."""


# -- what most of them share ----------------------------------------------------------------------------------


def small_bench(part: int = 2, lattice: str = "coarse", camera: Keys | None = None, **lens) -> Bench:
    """The demo's build with a frame one `part`-th as wide, and what else is changed of camera and lens."""
    demo = demo_bench()
    width, height = (side // part for side in demo.camera.size)
    sensor = tuple(side / part for side in demo.camera.sensor_mm)
    smaller = {
        "focal_mm": demo.lens.focal_mm / part,
        "image_radius_mm": demo.lens.image_radius_mm / part,
        "decentre_mm": tuple(move / part for move in demo.lens.decentre_mm),
        "dirt": _nearer(demo.lens.dirt, part),
    }
    frame = {"size": (width, height), "sensor_mm": sensor, "dirt": _nearer(demo.camera.dirt, part), "hot": 40}
    return replace(
        demo,
        lens=replace(demo.lens, **smaller | lens),
        camera=replace(demo.camera, **frame | dict(camera or {})),
        layout=make_layout(sensor, MAGNIFICATION, lattice),
    )


def _nearer(dirt: Sequence[Dirt], part: int) -> tuple[Dirt, ...]:
    """Dirt as near to the middle as the frame is smaller; fibres are shorter too, not thinner."""
    return tuple(
        replace(mark, x_mm=mark.x_mm / part, y_mm=mark.y_mm / part, length_mm=mark.length_mm / part)
        for mark in dirt
    )


def amend(folder: Path, shots: Mapping[str, Keys] | None = None, target: Keys | None = None) -> None:
    """Change a session file: the keys of its shots by their files' names (new ones are added), and [target]."""
    path = folder / "session.toml"
    session = tomllib.loads(path.read_text())
    session["target"] = _changed(session["target"], target or {})
    known = {shot["file"]: shot for shot in session["shot"]}
    known |= {name: _changed(known.get(name, {"file": name}), keys) for name, keys in (shots or {}).items()}
    session["shot"] = list(known.values())
    path.write_text(tomlkit.dumps(session))


def _changed(table: Keys, keys: Keys) -> dict[str, Any]:
    return {key: value for key, value in {**table, **keys}.items() if value is not None}


def sheet_and_flat(folder: Path, bench: Bench, f_number: float = 5.6, seed: int = 1, sheet: Scene = SHEET) -> None:
    """A session of one target shot and one flat."""
    takes = [
        Take("sheet.dng", "target", f_number, sheet, seed=seed),
        Take("even.dng", "flat", f_number, EVEN, seed=seed + 1),
    ]
    write_session(folder, bench, takes, jobs=2)


# -- the sessions ---------------------------------------------------------------------------------------------


def demo(folder: Path) -> None:
    """The demo, whole: two apertures, 12 megapixels, the fine lattice."""
    write_session(folder, demo_bench(), demo_takes(), jobs=2)


def coarse(folder: Path) -> None:
    """A soft lens and the coarse lattice, the sheet's print ragged."""
    ragged = Print(scale=(1.0012, 0.9994), ink_spread_mm=0.02, raggedness_mm=0.015)
    bench = small_bench(spherical_um=3.0, coma_um=4.0)
    sheet_and_flat(folder, bench, f_number=3.5, seed=21, sheet=replace(SHEET, defocus_mm=0.03, print=ragged))


def rail(folder: Path) -> None:
    """A series along a rail with a flat, and one shot mounted anew."""
    away = np.linspace(-8, 8, 7)
    scene = replace(SHEET, defocus_mm=0.01)
    takes = [
        *rail_series("r", 4.0, scene, away, 20 + away, seed=31),
        remounted("again", 4.0, scene, 2, 0.01, seed=39)[1],
        Take("even.dng", "flat", 4.0, EVEN, seed=38),
    ]
    write_session(folder, small_bench(3), takes, jobs=2)


def blades(folder: Path) -> None:
    """Blades in closed form, moved about at f/8, and along a rail at f/16."""
    folder.mkdir(parents=True)
    size, tables = (1500, 1000), ""
    for number, (f_number, moved, blur, reading) in enumerate(
        ((8, 1, 1.3, None), (8, -1, 1.3, None), (16, 1, 3.0, 0.0), (16, 1, 1.9, 0.5))
    ):
        corners = [(750 + x, 500 - moved * y, x, moved * y) for x, y in ((380, 250), (-380, -250))]
        around = [
            Blade((x, y), np.degrees(np.arctan2(up, out)) + 4 * moved, (250, 180)) for x, y, out, up in corners
        ]
        middle = Blade((750, 500), 4 * moved, (260, 200))
        fringe = {"red": (0.4, -0.2), "blue": (-0.3, 0.1)}
        shot = blades_shot([*around, middle], size, blur=blur, shift=fringe, seed=41 + number)
        write_dng(folder / f"b{number}.dng", shot)
        tables += f'[[shot]]\nfile = "b{number}.dng"\nshows = "blade"\nf_number = {f_number}\n'
        tables += "" if reading is None else f"rail_mm = {reading}\n"
    (folder / "session.toml").write_text(f'[build]\nname = "Foil"\n[camera]\nsensor_mm = [9.0, 6.0]\n{tables}')


def panels(folder: Path) -> None:
    """Flats with an uneven panel at three places and turned half round; at one aperture its moves are said."""
    half_round = replace(UNEVEN, slope=tuple(-part for part in UNEVEN.slope), dirt=())
    extent = np.array(small_bench().camera.size) / np.hypot(*small_bench().camera.size) * 2
    takes, keys = [], {}
    for f_number in (4.0, 11.0):
        for number, shift in enumerate(((0.0, 0.0), (0.5, 0.05), (-0.1, 0.42), (0.0, 0.0)), start=1):
            name = f"w_{f_number:03.0f}_{number}.dng"
            panel = half_round if number == 4 else replace(UNEVEN, shift=shift)
            takes.append(Take(name, "flat", f_number, EVEN, panel, number, seed=50 + len(takes)))
            said = f_number == 11 and number in (2, 3)
            keys[name] = {
                "panel": number,
                "panel_turn_deg": 180.0 if number == 4 else None,
                "panel_shift": [float(part) for part in shift / extent] if said else None,
            }
    write_session(folder, small_bench(), takes, jobs=2)
    amend(folder, keys)


def turned(folder: Path) -> None:
    """Target and flat with the lens turned in its mount: not, a quarter and half round."""
    takes = []
    for turn in (0.0, 90.0, 180.0):
        for shows, scene in (("target", SHEET), ("flat", EVEN)):
            scene = replace(scene, lens_turn_deg=turn)
            takes.append(Take(f"{shows}_{turn:03.0f}.dng", shows, 5.6, scene, seed=60 + len(takes)))
    write_session(folder, small_bench(axial_coma_um=(0.5, 0.2), lean_deg=(0.3, 0.1)), takes, jobs=2)


def repeats(folder: Path) -> None:
    """Three setups, each mounted and focused anew, with a flat of each."""
    takes = remounted("t", 4.0, SHEET, 3, 0.01, tilt_deg=0.3, seed=71)
    takes += [
        Take(f"w_{n}.dng", "flat", 4.0, replace(EVEN, light_slope=(0.02 * n, 0.0)), setup=n, seed=75 + n)
        for n in (1, 2, 3)
    ]
    write_session(folder, small_bench(3), takes, jobs=2)


def six_by_six(folder: Path) -> None:
    """A mosaic that repeats after six pixels."""
    pattern = tuple(tuple(row) for row in SIX)
    sheet_and_flat(folder, small_bench(camera={"pattern": pattern, "colours": RGB}), seed=81)


def other_order(folder: Path) -> None:
    """Green first and blue beside it, with dark frames: two exposed like the shots, one at another ISO."""
    pattern = tuple(tuple(row) for row in BAYER["GBRG"])
    bench = small_bench(camera={"pattern": pattern, "colours": RGBG, "hot": 200})
    sheet_and_flat(folder, bench, seed=91)
    exposure = read_shot(folder / "even.dng").exposure
    for number, iso in enumerate((100.0, 100.0, 800.0)):
        dark = bench.camera.blank().samples + np.float32(0.004)
        shot = bench.camera.expose(dark, f"dark_{number}.dng", 93 + number, replace(exposure, iso=iso))
        write_dng(folder / shot.name, shot)
    amend(folder, {f"dark_{number}.dng": {"shows": "dark"} for number in range(3)})


def grey(folder: Path) -> None:
    """A camera without colours."""
    bench = small_bench(camera={"pattern": ((0,),), "colours": ("grey",)}, colours={"grey": Colour((0.55,))})
    sheet_and_flat(folder, bench, seed=101)


def planes(folder: Path) -> None:
    """Linear TIFFs of red, green and blue, as a converter would write them."""
    camera = {"pattern": None, "colours": RGB, "black": 0.0, "white": 65535.0, "hot": 0, "dead": 0}
    sheet_and_flat(folder, small_bench(3, camera=camera), seed=111)
    for name in ("sheet", "even"):
        raw = folder / f"{name}.dng"
        tifffile.imwrite(folder / f"{name}.tif", read_shot(raw).samples, photometric="rgb", metadata=None)
        raw.unlink()
    amend(folder, {f"{n}.dng": {"file": f"{n}.tif", "encoding": "linear"} for n in ("sheet", "even")})


def outside(folder: Path) -> None:
    """The tests' other renderer, whose lens bends and fringes strongly."""
    size, sensor_mm = (1800, 1200), (36.0, 24.0)
    folder.mkdir(parents=True)
    layout = folder / "layout.json"
    write_layout(layout, make_layout(sensor_mm, 0.1, "coarse"))
    write_outside_session(folder, layout, OutsideLens(px_per_mm=size[0] / 360), size, sensor_mm, seed=121)


def clicks(folder: Path) -> None:
    """An iris without marks, one click mounted anew; two tiles are light traps, and the lens flares."""
    bench = small_bench(glare=0.03)
    middle = int(np.median(bench.layout.column)), int(np.median(bench.layout.row))
    traps = (middle, (middle[0] + 2, middle[1] - 1))
    sheet = replace(SHEET, print=replace(SHEET.print, light_traps=traps))
    takes, keys = [], {}
    for f_number, click in ((4.0, "first click"), (6.3, "second click"), (11.0, "third click")):
        for shows, scene in (("target", sheet), ("flat", EVEN)):
            name = f"{shows}_{click.split()[0]}.dng"
            takes.append(Take(name, shows, f_number, scene, seed=130 + len(takes)))
            keys[name] = {"f_number": None, "aperture": click}
    takes.append(Take("again.dng", "target", 11.0, replace(sheet, defocus_mm=0.01), setup=2, seed=139))
    keys["again.dng"] = {"f_number": None, "aperture": "third click"}
    write_session(folder, bench, takes, jobs=2)
    amend(folder, keys, {"light_traps": [list(trap) for trap in traps]})


def circle(folder: Path) -> None:
    """A tube cuts the corners off, rings throw a bright spot; flats at four apertures, the ink's light known."""
    bench = small_bench(barrel=Barrel(6.2, 0.2, (0.3, -0.2)), reflection=Reflection(0.08, 2.0))
    takes = [Take(f"w_{n:03.0f}.dng", "flat", n, EVEN, seed=140 + int(n)) for n in (4.0, 8.0, 16.0, 22.0)]
    takes.append(Take("t_080.dng", "target", 8.0, SHEET, seed=149))
    write_session(folder, bench, takes, jobs=2)
    amend(folder, target={"ink_reflectance": 0.04})


def spoiled(folder: Path) -> None:
    """What has to be warned of: shaken, out of focus, leaning, bright, dim, mirrored and broken shots."""
    scenes = {
        "shaken.dng": (4.0, replace(SHEET, motion_px=(2.5, 1.0))),
        "unfocused.dng": (5.6, replace(SHEET, defocus_mm=0.15)),
        "leaning.dng": (6.3, replace(SHEET, tilt_deg=(12.0, 0.0))),
        "bright.dng": (8.0, replace(SHEET, white=1.2)),
        "dim.dng": (11.0, replace(SHEET, white=0.06)),
        "mirrored.dng": (16.0, replace(SHEET, mirrored=True)),
        "short.dng": (22.0, SHEET),
    }
    takes = [Take(n, "target", f, scene, seed=150 + k) for k, (n, (f, scene)) in enumerate(scenes.items())]
    takes.append(Take("even.dng", "flat", 4.0, EVEN, seed=159))
    write_session(folder, small_bench(3), takes, jobs=2)
    short = folder / "short.dng"
    short.write_bytes(short.read_bytes()[:300_000])
    (folder / "no-target.dng").write_bytes((folder / "even.dng").read_bytes())
    amend(folder, {"no-target.dng": {"shows": "target", "f_number": 4.0}})


SESSIONS = {
    make.__name__: make
    for make in (
        demo, coarse, rail, blades, panels, turned, repeats, six_by_six, other_order, grey, planes, outside,
        clicks, circle, spoiled,
    )
}  # fmt: skip
"""A session's name -> what writes it into a new folder."""
