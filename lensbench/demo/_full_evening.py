"""Two evenings at the bench with an invented build, before and after it was mended, for the full demo.

A small frame, with pixels as large as any, so that so many shots take a minute or two.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Colour, Dirt, Lens, Rim
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.session import Bench, Take
from lensbench.target.layout import make_layout

MAGNIFICATION = 0.48
APERTURES = (2.8, 4.0, 5.6, 8.0, 11.0)

STICKING_AT, STICKING_STOPS = 8.0, 0.4
"""Where the iris sticks, and how much less light it passes there than its mark says."""

_STUCK = STICKING_AT * 2 ** (STICKING_STOPS / 2)

REPEATED_AT, SETUPS = 5.6, 3
"""The aperture at which both builds are set up anew, and how often."""

RAILS_MM = {4.0: np.linspace(-0.8, 0.96, 9), 8.0: np.linspace(-1.2, 1.6, 8)}
"""The series along the rail, by aperture."""

GLASS_MM = 0.5
"""How far before the sensor's surface dust on its cover glass seems to lie."""

FOCUS_MM, TILT_DEG = 0.004, 0.04
"""How far one setup's focus and squareness are off, as standard deviations."""

GOALS = {
    "f_number": REPEATED_AT,
    "magnification_least": 0.5,
    "corner_falloff_stops_most": 1.0,
    "distortion_percent_most": 2.0,
    "fringing_px_most": 1.0,
    "mtf50_lp_mm_least": {"centre": 50.0, "outer": 50.0},
}
"""What the builder wanted of it."""

LEAN_DEG = (0.9, 0.35)
"""How the lens of the first build leans, across and down."""

PLANTED = (
    f"First build: the lens leans by {math.hypot(*LEAN_DEG):.2g}°.",
    f"Its iris passes {STICKING_STOPS:g} stop less at f/{STICKING_AT:g} than marked: it is f/{_STUCK:.1f} there.",
    "Spherical aberration moves focus farther away as the iris closes.",
    "A hair and a speck on the sensor's glass, a smear on the lens (its rear: blur alone can't tell which glass).",
    "Second build: the same, but the lens does not lean.",
)
"""What was built into both, to be found."""


def leaning_bench() -> Bench:
    """The build before it was mended."""
    camera = Camera(size=(1440, 960), sensor_mm=(7.8, 5.2), hot=20, dead=5, dirt=_on_the_sensor())
    return Bench(
        name="Samphire 11, first spacing",
        parts=("eyepiece of a field glass", "rear doublet of a slide viewer", "two extension rings"),
        notes="As found: the rear doublet sits askew in its paper sleeve.",
        lens=_lens(LEAN_DEG),
        camera=camera,
        layout=make_layout(camera.sensor_mm, MAGNIFICATION, "coarse"),
        print_dpi=2400,
        date="2024-05-04",
        goals=GOALS,
    )


def mended_bench() -> Bench:
    """The same build after the doublet was seated anew."""
    return replace(
        leaning_bench(),
        name="Samphire 11, doublet seated",
        notes="The rear doublet seated square, with a turned sleeve.",
        lens=_lens((0.0, 0.0)),
        date="2024-05-11",
    )


def leaning_takes() -> list[Take]:
    """Five apertures, two of them along the rail; one of them set up anew; and with the lens turned half round."""
    takes: list[Take] = []
    for number, f_number in enumerate(APERTURES):
        takes += _targets(f_number, 100 * number)
        takes.append(_flat(f_number, 100 * number + 50))
    takes += _repeats(range(2, SETUPS + 1), 600)
    turned = replace(_scene(REPEATED_AT), lens_turn_deg=180.0)
    takes.append(Take("turned.dng", "target", REPEATED_AT, turned, seed=700))
    flat = _flat(REPEATED_AT, 701)
    takes.append(replace(flat, file="turned_even.dng", scene=replace(flat.scene, lens_turn_deg=180.0)))
    return takes


def mended_takes() -> list[Take]:
    """One aperture, set up as often as before, and its flat."""
    return [*_repeats(range(1, SETUPS + 1), 800), _flat(REPEATED_AT, 900)]


def _targets(f_number: float, seed: int) -> Iterator[Take]:
    name, opened = f"{10 * f_number:03.0f}", _opened(f_number)
    for number, away in enumerate(RAILS_MM.get(f_number, (0.0,))):
        scene = replace(_scene(f_number), rail_mm=float(away))
        yield Take(
            f"t_{name}_{number:02d}.dng", "target", opened, scene, seed=seed + number, marked_f_number=f_number
        )


def _repeats(setups: range, seed: int) -> Iterator[Take]:
    """The target at one aperture, each time focused and squared anew, as well as hands can."""
    random = np.random.default_rng(seed)
    for setup in setups:
        focus, across, down = random.standard_normal(3)
        scene = replace(
            _scene(REPEATED_AT),
            defocus_mm=float(FOCUS_MM * focus),
            tilt_deg=(float(TILT_DEG * across), float(TILT_DEG * down)),
        )
        yield Take(f"setup_{setup}.dng", "target", REPEATED_AT, scene, setup=setup, seed=seed + setup)


def _flat(f_number: float, seed: int) -> Take:
    """The even light, exposed as the mark asks."""
    white, shutter_s = _exposed(0.7, f_number)
    scene = Scene(magnification=MAGNIFICATION, white=white, shutter_s=shutter_s)
    name = f"w_{10 * f_number:03.0f}.dng"
    return Take(name, "flat", _opened(f_number), scene, Panel(), seed=seed, marked_f_number=f_number)


def _opened(f_number: float) -> float:
    """The f-number that the iris really opens to."""
    return _STUCK if f_number == STICKING_AT else f_number


def _exposed(white: float, f_number: float) -> tuple[float, float]:
    """The light that comes, and the shutter time in seconds: as the mark asks, which the iris may not keep."""
    return white * (f_number / _opened(f_number)) ** 2, 0.05 * (f_number / APERTURES[0]) ** 2


def _scene(f_number: float) -> Scene:
    white, shutter_s = _exposed(0.75, f_number)
    printed = Print(scale=(1.0012, 0.9994))
    return Scene(
        magnification=MAGNIFICATION,
        turn_deg=0.6,
        tilt_deg=(0.02, -0.03),
        white=white,
        shutter_s=shutter_s,
        print=printed,
    )


def _lens(lean_deg: tuple[float, float]) -> Lens:
    colours = {
        "red": Colour((0.61,), focus_mm=0.01, stretch_outer=5e-4),
        "green": Colour((0.54,)),
        "blue": Colour((0.46,), focus_mm=-0.012, stretch_outer=-4e-4),
    }
    return Lens(
        focal_mm=11,
        open_f_number=2.8,
        image_radius_mm=4.69,
        spherical_um=0.6,
        coma_um=0.8,
        astigmatism_um=0.5,
        curvature_um=0.4,
        lean_deg=lean_deg,
        distortion=(-0.012,),
        colours=colours,
        rim=Rim(1.2, 0.5),
        glare=0.01,
        dirt=(Dirt("patch", 1.8, -1.2, 0.5, 0.02, distance_mm=9.0, place="rear glass"),),
    )


def _on_the_sensor() -> tuple[Dirt, ...]:
    return (
        Dirt("spot", -2.4, -1.4, 0.05, 0.9, GLASS_MM),
        Dirt("fibre", -1.0, 1.2, 0.012, 0.6, GLASS_MM, length_mm=1.6, angle_deg=20, bend=1.0),
    )
