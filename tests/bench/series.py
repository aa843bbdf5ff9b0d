"""What an aperture series tells, against lenses known in full.

- the f-number from blur along a rail: random lenses with spherical aberration and coma, series of nine shots;
- marks against light: random irises off their marks, flats rendered with noise;
- focus shift: spherical lenses stopped down, through-focus curves by the lens's own pupil;
- choices: drawn series with planted winners, how often the right aperture is named, or counted equal to it.

Run by hand: python -m tests.bench.series [--lenses 40]
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff import read_centre_light
from lensbench.findings import Figure, Focus, Setting, Sharpness, ThroughFocus, ZoneSharpness
from lensbench.frame import ZONES
from lensbench.optics import effective_f_number, quarter_wave_field
from lensbench.simulator.flat_shot import flat_shot
from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Scene
from lensbench.verdicts.aperture import judge_series
from tests.focus_truth import focus_truth
from tests.simulator.benches import PITCH_MM, even_lens, grey_camera

SIZE = (660, 480)
GREEN_MM = 550e-6


def through_focus(lens: Lens, f_number: float, magnification: float, position_mm: NDArray) -> NDArray:
    """The centre's MTF50 along the rail, mean of directions, by the lens's own pupil."""
    scene = Scene(magnification=magnification)
    away = np.linspace(position_mm.min(), position_mm.max(), 41)
    return (
        focus_truth(lens, grey_camera(SIZE), scene, f_number, [[0.0, 0.0]], away, "grey")
        .at(position_mm)[0]
        .mean(0)
    )


def rail_setting(
    aperture: str, position_mm: NDArray, mtf50: NDArray, magnification: float, rail: Figure | None = None
) -> Setting:
    """A setting without a mark, with the centre's curve along the rail."""
    through = ThroughFocus("centre", "grey", position_mm.tolist(), mtf50.tolist(), [], [])
    figure = Figure.of(0.1, 0.01, "mm")
    focus = Focus([], position_mm.tolist(), rail or figure, "farther", figure, "", 0.0, 0.0, through=[through])
    scale = Figure.of(magnification, 2e-4 * magnification, "×")
    return Setting(aperture=aperture, magnification=scale, focus=focus)


def blurs(lenses: int, fall: tuple[float, float]) -> None:
    """The f-number that blur tells, against that of the pupil."""
    rng = np.random.default_rng(3)
    off, held, told = [], [], 0
    for _ in range(lenses):
        f_number, magnification = float(rng.choice([2.8, 4, 5.6, 8, 11])), float(rng.choice([0.3, 0.5, 1.0]))
        lens = _lens(rng, f_number)
        effective = float(effective_f_number(f_number, magnification))
        # So far out of focus that the disc is some pixels wide.
        depth = float(quarter_wave_field(f_number, magnification, GREEN_MM))
        reach = max(depth * 1.5, rng.uniform(*fall) * PITCH_MM * effective / magnification**2)
        position = np.linspace(-reach, reach, 9)
        seen = through_focus(lens, f_number, magnification, position) * np.exp(rng.normal(0, 0.003, 9))
        series = judge_series([rail_setting("first click", position, seen, magnification)], SIZE, 1000 * PITCH_MM)
        if series is None:
            continue
        told += 1
        (found,) = series.blur
        off.append(100 * (found.f_number.value / f_number - 1))
        held.append(found.f_number.low <= f_number <= found.f_number.high)
    print(
        f"f-number from blur, discs of {fall[0]:g} to {fall[1]:g} px: told for {told} of {lenses}, bias "
        f"{np.median(off):+.2f} %, spread {np.std(off):.2f} %, worst {np.abs(off).max():.2f} %, intervals hold "
        f"{100 * np.mean(held):.0f} %",
        flush=True,
    )


def _lens(rng: np.random.Generator, f_number: float) -> Lens:
    return even_lens(
        focal_mm=35,
        open_f_number=float(rng.choice([f_number, f_number / 2])),
        image_radius_mm=2.4,
        colours={"grey": Colour((0.55,))},
        spherical_um=rng.uniform(-2.0, 2.0),
        axial_coma_um=tuple(rng.uniform(-0.6, 0.6, 2)),
    )


def marks(irises: int) -> None:
    """How far off its marks an iris is found to be, against how far it was made."""
    rng = np.random.default_rng(5)
    off, held = [], []
    camera, lens = grey_camera((300, 200)), even_lens(focal_mm=35, image_radius_mm=2.4)
    for seed in range(irises):
        planted = rng.normal(0, 0.4)
        settings = []
        for f_number, less in ((4.0, 0.0), (8.0, planted)):
            # The shutter stays open as much longer as the marks ask; the light is less by the error.
            scene = Scene(white=0.6 * 2.0**-less, shutter_s=0.1 * (f_number / 4.0) ** 2)
            shot, _ = flat_shot(lens, camera, Panel(), scene, f_number, seed)
            settings.append(Setting(f_number, centre_light=read_centre_light([shot])))
        series = judge_series(settings, SIZE)
        (found,) = series.light if series else ()
        off.append(found.off_stops.value - planted)
        held.append(found.off_stops.low <= planted <= found.off_stops.high)
    print(
        f"marks against light, {irises} irises: off by {np.std(off):.4f} stop (rms), intervals hold "
        f"{100 * np.mean(held):.0f} % (they count the rounding of shutter times, which is not simulated)",
        flush=True,
    )


def shifts(lenses: int) -> None:
    """Focus shift from the peaks of two series, against the peaks of the pupil's own curves."""
    rng = np.random.default_rng(7)
    right = 0
    for _ in range(lenses):
        lens = replace(_lens(rng, 2.8), open_f_number=2.8, axial_coma_um=(0.0, 0.0))
        peaks = []
        for f_number in (2.8, 5.6):
            fine = np.linspace(-0.6, 0.6, 241)
            peaks.append(fine[int(np.argmax(through_focus(lens, f_number, 0.5, fine)))])
        settings = [_peak_setting(f_number, peak, rng) for f_number, peak in zip((2.8, 5.6), peaks, strict=True)]
        series = judge_series(settings, SIZE)
        found = series.focus_shifts[0].farther_mm if series else None
        right += bool(found and found.low <= peaks[1] - peaks[0] <= found.high)
    print(f"focus shift, {lenses} lenses: the interval holds the true shift in {right}", flush=True)


def _peak_setting(f_number: float, peak: float, rng: np.random.Generator) -> Setting:
    """A setting whose series found its peak with an error of 5 µm (standard deviation)."""
    reading = Figure.of(10 + peak + rng.normal(0, 0.005), 1.96 * 0.005, "mm")
    setting = rail_setting("", np.linspace(-1, 1, 5), np.full(5, 0.2), 0.5, reading)
    return Setting(f_number, magnification=setting.magnification, focus=setting.focus)


TRUE = {
    2.8: (40.0, 12.0),
    4.0: (55.0, 22.0),
    5.6: (60.0, 33.0),
    8.0: (54.0, 40.0),
    11.0: (43.0, 38.0),
    16.0: (30.0, 28.0),
}
"""Centre and corners in lp/mm of a drawn series: sharpest centre at f/5.6; the corners keep most of it at f/16."""


def choices(series: int) -> None:
    """How often the right aperture is named, or counted equal, by shots' noise and by how setups scatter."""
    for setups, scatter in ((1, 0.0), (3, 0.03)):
        rng = np.random.default_rng(11)
        right = {"sharpest centre": 0, "most even": 0, "deepest field": 0}
        truth = {"sharpest centre": "f/5.6", "most even": "f/16", "deepest field": "f/8"}
        for _ in range(series):
            found = judge_series(drawn(rng, setups, scatter), (6000, 4000), 6.0)
            for choice in found.choices if found else ():
                right[choice.purpose] += truth[choice.purpose] in (choice.aperture, *choice.equal)
        said = ", ".join(f"{purpose} {100 * count / series:.0f} %" for purpose, count in right.items())
        print(
            f"choices, {setups} setups that scatter by {100 * scatter:.0f} %: right or equal: {said}", flush=True
        )


def drawn(rng: np.random.Generator, setups: int, scatter: float) -> list[Setting]:
    """The series of `TRUE`, every setup with a common error of focus."""
    settings = []
    for f_number, (centre, corner) in TRUE.items():
        for setup in range(1, setups + 1):
            common = 1 + rng.normal(0, scatter)
            zones = []
            for zone in ZONES:
                share = {"centre": 0.0, "inner": 0.2, "outer": 0.6, "corner": 1.0}[zone.split()[0]]
                value = ((1 - share) * centre + share * corner) * common * (1 + rng.normal(0, 0.003))
                figure = Figure.of(value, 1.96 * 0.003 * value, "lp/mm")
                zones.append(ZoneSharpness(zone, "green", "mean", figure.scaled(0.006, "cy/px"), figure, 9))
            scale = Figure.of(0.2, 1e-4, "×")
            settings.append(Setting(f_number, setup=setup, magnification=scale, sharpness=Sharpness(zones=zones)))
    return settings


def main() -> None:
    """Print the lines."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lenses", type=int, default=40)
    lenses = parser.parse_args().lenses
    for fall in ((2.0, 5.0), (5.0, 14.0)):
        blurs(lenses, fall)
    marks(lenses)
    shifts(max(lenses // 4, 4))
    choices(5 * lenses)


if __name__ == "__main__":
    main()
