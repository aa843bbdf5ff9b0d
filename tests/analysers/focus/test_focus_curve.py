"""Curves through focus against the physical pupil: a perfect lens and lenses with every usual fault."""

import numpy as np
import pytest

from lensbench.analysers.focus._curve_fit import fit_curves
from lensbench.optics import quarter_wave_focus
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Lens
from lensbench.simulator.scene import Scene
from tests.analysers.focus.invented_focus import assert_intervals_hold
from tests.focus_truth import focus_truth

F_NUMBER = 4.0
LENSES = {
    "perfect": Lens(open_f_number=F_NUMBER),
    "half a wave of spherical aberration": Lens(open_f_number=F_NUMBER, spherical_um=0.55),
    "coma": Lens(open_f_number=F_NUMBER, coma_um=1.2),
    "astigmatism": Lens(open_f_number=F_NUMBER, astigmatism_um=0.5),
}
EFFECTIVE = 8.0
"""At life size."""


@pytest.fixture(scope="module")
def truths():
    """By lens: MTF50 at half field, through focus; the place in quarter waves of defocus."""
    quarter = float(quarter_wave_focus(EFFECTIVE, 0.00054))
    place = [(0.5 * 21.63, 0.0)]
    steps = np.arange(-4, 4.01, 0.5) * quarter
    scene = Scene(magnification=1.0)
    found = {name: focus_truth(lens, Camera(), scene, F_NUMBER, place, steps) for name, lens in LENSES.items()}
    return quarter, found


def taken(truth, place, noise, seed, repeats=150):
    """Series of one place with noise, and the truth: place (repeats) of sagittal edges."""
    value = truth.at(place)[0, 0]
    rng = np.random.default_rng(seed)
    return value * (1 + noise * rng.standard_normal((repeats, len(place)))), np.full((repeats, 1), noise) * value


@pytest.mark.parametrize("name", LENSES)
@pytest.mark.parametrize("step", [0.5, 1.0])
def test_peaks_of_real_blur(truths, name, step):
    """Place to 7 % of a quarter wave and sharpness to 0.5 %, for steps of a quarter and of half of the depth."""
    quarter, found = truths
    best, peak = (part[0, 0] for part in found[name].best())
    place = best + np.arange(-3.1, 3.1, step) * quarter
    place = place[np.abs(place) < 4 * quarter]
    peaks = fit_curves(place, *taken(found[name], place, 0.001, 1)).peaks()
    assert (peaks.side == 0).all()
    assert np.abs(peaks.position - best).mean() < 0.07 * quarter
    assert np.abs(peaks.mtf50 / peak - 1).mean() < 0.005


def test_a_parabola_would_not_do(truths):
    """The textbook parabola of 1 / MTF50² over these shots puts a perfect lens's peak 1.5 % or more too high."""
    quarter, found = truths
    _, peak = found["perfect"].best()
    place = np.arange(-2, 2.01, 0.5) * quarter
    squares = found["perfect"].at(place)[0, 0] ** -2
    lowest = np.polynomial.Polynomial.fit(place, squares, 2, w=1 / squares)(0.0)
    assert lowest**-0.5 > 1.015 * peak[0, 0]


def test_depth_is_that_of_a_quarter_wave(truths):
    """A perfect lens keeps 84 % of its MTF50 a quarter wave off: depth by the rule 2 λ N² (Smith; memory)."""
    quarter, found = truths
    place = np.arange(-2, 2.01, 0.5) * quarter
    peaks = fit_curves(place, *taken(found["perfect"], place, 0.001, 2)).peaks()
    assert peaks.depth.mean() == pytest.approx(quarter, rel=0.05)
    exact = found["perfect"].at(quarter)[0, 0] / found["perfect"].at(0.0)[0, 0]
    assert exact == pytest.approx(0.84, abs=0.01)


@pytest.mark.parametrize("name", LENSES)
def test_intervals_hold_the_truth(truths, name):
    quarter, found = truths
    best, peak = (part[0, 0] for part in found[name].best())
    series = []
    for seed in range(8):
        place = best + (np.arange(-3, 3.01, 0.5) + 0.0625 * seed) * quarter
        place = place[np.abs(place) < 4 * quarter]
        series.append(fit_curves(place, *taken(found[name], place, 0.01, seed)).peaks())
    for figure, truth in (("position", best), ("mtf50", peak)):
        value, sigma, model = (
            np.concatenate([getattr(part, figure + suffix) for part in series])
            for suffix in ("", "_sigma", "_model_sigma")
        )
        assert_intervals_hold(value - truth, 1.96 * np.hypot(sigma, model))


def test_too_wide_steps_say_so_by_their_intervals(truths):
    """Twice the depth apart, the peak of a perfect lens is guesswork by some percent."""
    quarter, found = truths
    _, peak = found["perfect"].best()
    place = np.arange(-4, 4.01, 2.0) * quarter
    peaks = fit_curves(place, *taken(found["perfect"], place, 0.001, 3)).peaks()
    half = 1.96 * np.hypot(peaks.mtf50_sigma, peaks.mtf50_model_sigma)
    assert (half > 0.03 * peak[0, 0]).all()
    assert (np.abs(peaks.mtf50 - peak[0, 0]) < half).mean() >= 0.93


def test_a_peak_beyond_the_series(truths):
    quarter, found = truths
    place = np.arange(0.5, 4.01, 0.5) * quarter
    data = taken(found["perfect"], place, 0.01, 4)
    assert (fit_curves(place, *data).peaks().side == -1).all()
    mirrored = tuple(part[:, ::-1] for part in data)
    assert (fit_curves(-place[::-1], *mirrored).peaks().side == 1).all()


def test_where_nothing_tells():
    """A blur so wide that focus hardly changes it, and a series with too few figures."""
    place = np.linspace(-1, 1, 9)
    rng = np.random.default_rng(5)
    flat = 0.1 * (1 + 0.02 * rng.standard_normal((50, 9)))
    assert np.mean(fit_curves(place, flat, 0.02 * flat).peaks().side == 0) < 0.05
    few = np.full((1, 9), np.nan)
    few[0, :2] = 0.1
    peaks = fit_curves(place, few, 0.01 * few).peaks()
    assert np.isnan(peaks.position[0])
    assert peaks.side[0] != 0
