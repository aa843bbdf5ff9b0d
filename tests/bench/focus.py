"""Accuracy of rail series against the lens's own pupil: python -m tests.bench.focus

First the curve alone, on exact figures with 0.5 % of noise: the peak by a parabola of 1 / MTF50² (what a textbook
would fit) beside ours, by the rail's step. Then whole series, rendered and measured. Last, setups held against
one another. Places are in depths (a quarter wave of defocus), sharpness in percent.
"""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve_fit import fit_curves
from lensbench.findings import Figure
from lensbench.optics import quarter_wave_field
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.scene import Scene
from lensbench.verdicts.repeats import of_repeats
from tests.focus_truth import FocusTruth, focus_truth
from tests.rail_shots import series_of
from tests.simulator.benches import grey_camera, small_layout

NOISE = 0.005
F_NUMBER = 4.0


def lenses() -> dict[str, Lens]:
    """Lenses for the curve alone, at life size and f/4: what half of the field shows of each."""
    faults = {
        "perfect": {},
        "spherical, 1/2 wave": {"spherical_um": 0.55},
        "spherical, 2 waves": {"spherical_um": 2.2},
        "coma": {"coma_um": 1.2},
        "coma, strong": {"coma_um": 4.0},
    }
    return {name: Lens(open_f_number=F_NUMBER, **fault) for name, fault in faults.items()}


def parabola(place: NDArray, mtf50: NDArray) -> tuple[NDArray, NDArray]:
    """Peaks of parabolas of 1 / MTF50² through all shots above half of the highest, or the sharpest three."""
    found = []
    for values in mtf50:
        kept = values >= min(values.max() / 2, np.sort(values)[-3])
        curve = np.polynomial.Polynomial.fit(place[kept], values[kept] ** -2, 2, w=values[kept] ** 2)
        top = curve.deriv().roots()[0].real
        found.append((top, curve(top) ** -0.5))
    return tuple(np.array(found).T)


def curve_rows(name: str, truth: FocusTruth, depth: float) -> None:
    """Print errors of both ways to find the peak, and how often our intervals hold the truth, by step."""
    best, peak = (part[0, 0] for part in truth.best())
    rng = np.random.default_rng(1)
    for step in (0.25, 0.5, 1.0, 2.0):
        ours, textbook, held, shown = [], [], [], []
        for begin in np.linspace(0, 1, 8, endpoint=False):
            place = best + (np.arange(-round(4 / step), round(4 / step)) + begin) * step * depth
            place = place[(place > truth.away_mm[0]) & (place < truth.away_mm[-1])]
            exact = truth.at(place)[0, 0]
            values = exact * (1 + NOISE * rng.standard_normal((60, len(place))))
            peaks = fit_curves(place, values, np.full_like(values, NOISE) * exact).peaks()
            seen = peaks.side == 0
            off = peaks.position - best, peaks.mtf50 - peak
            sigma = (
                np.hypot(peaks.position_sigma, peaks.position_model_sigma),
                np.hypot(peaks.mtf50_sigma, peaks.mtf50_model_sigma),
            )
            ours.append(np.stack([off[0] / depth, 100 * off[1] / peak])[:, seen])
            held.append(np.stack([np.abs(o) < 1.96 * s for o, s in zip(off, sigma, strict=True)])[:, seen])
            top, height = parabola(place, values)
            textbook.append(np.stack([(top - best) / depth, 100 * (height / peak - 1)]))
            shown.append(seen.mean())
        errors = f"{_errors(textbook)} | {_errors(ours)}  {_held(held)}"
        print(f"{name:20s} {step:5.2f} {100 * np.mean(shown):5.0f}%  {errors}")


def _errors(parts: list[NDArray]) -> str:
    """Bias and spread of place and of sharpness."""
    place, sharp = np.concatenate(parts, axis=1)
    return f"{place.mean():7.3f} {place.std():6.3f} {sharp.mean():7.2f} {sharp.std():6.2f}"


def _held(parts: list[NDArray]) -> str:
    place, sharp = 100 * np.concatenate(parts, axis=1).mean(axis=1)
    return f"{place:6.1f} {sharp:6.1f}"


def whole_rows() -> None:
    """Print errors of tiles and zones of rendered series."""
    camera = grey_camera((1200, 800))
    layout = small_layout(camera, 0.5, 0.8)
    grey = {"colours": {"grey": Colour((0.55,))}, "cos_power": 0.0, "image_radius_mm": 4.33, "focal_mm": 35.0}
    plain = Scene(magnification=0.5)
    away = np.linspace(-0.4, 0.6, 9)
    wrong = away + 0.008 * np.random.default_rng(3).standard_normal(len(away))
    series = {
        "flat, sharp": (Lens(open_f_number=4.0, **grey), away),
        "curved, leaning": (
            Lens(open_f_number=4.0, curvature_um=-0.5, astigmatism_um=0.3, lean_deg=(0.3, -0.1), **grey),
            away,
        ),
        "spherical, coma": (
            Lens(open_f_number=4.0, spherical_um=0.5, coma_um=0.8, curvature_um=-0.4, **grey),
            away,
        ),
        "the same, rail ± 8 µm": (
            Lens(open_f_number=4.0, spherical_um=0.5, coma_um=0.8, curvature_um=-0.4, **grey),
            wrong,
        ),
    }
    depth = float(quarter_wave_field(F_NUMBER, 0.5, 0.00055))
    for name, (lens, reading) in series.items():
        start = time.process_time()
        steps = np.arange(-0.9, 1.3, 0.14)
        taken = series_of(lens, plain, F_NUMBER, away, steps, camera, reading, layout)
        cells = []
        for figure in ("best_mm", "mtf50_at_best", "mtf50_at_centre"):
            value, half, truth = taken.figures(figure)
            off = (value - truth) / depth if figure == "best_mm" else 100 * (value / truth - 1)
            cells.append(
                f"{off.mean():7.3f} {off.std():6.3f} {100 * np.mean(np.abs(value - truth) <= half):6.1f}%"
            )
        lean = taken.focus.lean.sensor_deg if taken.focus.lean else ()
        leans = ", ".join(f"{figure.value:+.3f} ± {figure.half_width:.3f}°" for figure in lean)
        print(f"{name:22s} {' | '.join(cells)} | lean {leans}; {time.process_time() - start:.0f} s")


def repeats_rows() -> None:
    """Print how often intervals over setups hold the truth, and how often equal builds are called different."""
    for setups in (2, 3, 5, 8):
        rng = np.random.default_rng(setups)
        held, apart, widths = [], [], []
        for values, others in rng.normal(40, 1, (2000, 2, setups)):
            first, second = (
                of_repeats("sharpness", "centre", "green", [Figure.of(v, 0.1, "") for v in part])
                for part in (values, others)
            )
            held.append((first.mean.low <= 40 <= first.mean.high, first.spread.low <= 1 <= first.spread.high))
            apart.append(abs(first.mean.value - second.mean.value) > first.smallest_difference)
            widths.append(first.smallest_difference)
        mean, spread = 100 * np.mean(held, axis=0)
        print(f"{setups:6d} {mean:7.1f}% {spread:7.1f}% {100 * np.mean(apart):9.1f}% {np.median(widths):10.2f}")


def main() -> None:
    depth = float(quarter_wave_field(F_NUMBER, 1.0, 0.00054))
    print("the peak of one curve: step in depths; a parabola's errors | ours, and how often intervals hold")
    print(f"{'':34s}  place: bias, sd; MTF50 %: bias, sd")
    for name, lens in lenses().items():
        steps = np.arange(-6, 6.01, 0.5) * depth
        curve_rows(
            name, focus_truth(lens, Camera(), Scene(magnification=1.0), F_NUMBER, [(10.8, 0.0)], steps), depth
        )
    print("\nwhole series, all tiles: best focus in depths | MTF50 there, % | MTF50 with the centre in focus, %")
    print(f"{'':22s}    bias     sd    held")
    whole_rows()
    print("\nsetups: mean held, spread held, equal builds called different (bar 5 %), must differ by (spread 1)")
    repeats_rows()


if __name__ == "__main__":
    main()
