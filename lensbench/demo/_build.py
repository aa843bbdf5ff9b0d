"""An invented build and its session: what `lensbench demo` measures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Colour, Dirt, Lens, Rim
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.session import Bench, Take, Truth, write_session
from lensbench.target.layout import make_layout

MAGNIFICATION = 0.12

GLASS_MM = 0.8
"""How far before the sensor's surface dust on its cover glass seems to lie."""


def demo_bench() -> Bench:
    """The build, the camera and the sheet.

    A close-up lens from a slide projector's front group and an enlarger's rear doublet: sharp in the middle,
    leaning a little, fringing in the corners, with dust and a hair on the sensor and a smear on the front.
    """
    camera = Camera(
        size=(4320, 2880), sensor_mm=(23.4, 15.6), hot=150, dead=30, green_imbalance=0.004, dirt=_on_the_sensor()
    )
    return Bench(
        name="Marram 32, second mounting",
        parts=("front group of a slide projector", "rear doublet of an enlarger", "three extension rings"),
        notes="Front group turned a third; new paper shim behind the iris.",
        lens=_lens(),
        camera=camera,
        layout=make_layout(camera.sensor_mm, MAGNIFICATION),
        print_dpi=2400,
    )


def demo_takes() -> list[Take]:
    """Two apertures, the target and the even light at each."""
    printed = Print(scale=(1.0012, 0.9994), ink_spread_mm=0.012)
    target = Scene(
        magnification=MAGNIFICATION,
        defocus_mm=0.004,
        turn_deg=0.6,
        tilt_deg=(0.25, -0.1),
        shift_mm=(0.8, -0.5),
        print=printed,
    )
    flat, darker = (Scene(magnification=MAGNIFICATION, white=0.7, shutter_s=time) for time in (0.125, 0.5))
    panel = Panel()
    return [
        Take("t_040.dng", "target", 4.0, replace(target, shutter_s=0.125), seed=11),
        Take("t_080.dng", "target", 8.0, replace(target, shutter_s=0.5), seed=12),
        Take("w_040.dng", "flat", 4.0, flat, panel, seed=13),
        Take("w_080.dng", "flat", 8.0, darker, panel, seed=14),
    ]


def write_demo(
    folder: str | Path, jobs: int = 2, progress: Callable[[str], None] | None = None
) -> dict[str, Truth]:
    """Write the demo's session and give back its truth by file name."""
    return write_session(folder, demo_bench(), demo_takes(), jobs, progress)


def _lens() -> Lens:
    colours = {
        "red": Colour((0.61,), focus_mm=0.02, stretch_outer=7e-4, falloff_stops=-0.02),
        "green": Colour((0.54,)),
        "blue": Colour((0.46,), focus_mm=-0.02, stretch_outer=-4.5e-4, falloff_stops=0.03),
    }
    smear = Dirt("patch", 5.5, -3.6, 0.9, 0.02, place="front glass")
    return Lens(
        focal_mm=32,
        open_f_number=2.8,
        image_radius_mm=14.06,
        spherical_um=0.7,
        coma_um=1.6,
        axial_coma_um=(0.25, 0.1),
        astigmatism_um=1.5,
        curvature_um=1.4,
        lean_deg=(0.12, 0.03),
        distortion=(-0.021, 0.004),
        decentre_mm=(0.5, -0.3),
        colours=colours,
        rim=Rim(1.0, 0.75),
        glare=0.012,
        dirt=(smear,),
    )


def _on_the_sensor() -> tuple[Dirt, ...]:
    return (
        Dirt("spot", -7.3, -4.1, 0.05, 0.9, GLASS_MM),
        Dirt("spot", 2.9, 5.2, 0.09, 0.8, GLASS_MM),
        Dirt("spot", 8.8, 1.7, 0.04, 0.9, GLASS_MM),
        Dirt("fibre", -4.2, 2.4, 0.015, 0.7, GLASS_MM, length_mm=3.5, angle_deg=35, bend=1.2),
    )
