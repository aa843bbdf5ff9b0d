"""Photon noise against light, on frames whose photons are drawn here one by one: nothing of the simulator.

EMVA Standard 1288, release 4.0 (2021): the variance of photon noise is proportional to the light over dark (2.2),
and temporal noise is half of the variance of the difference of two shots taken alike (6.5).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import convolve, gaussian_filter
from scipy.signal import correlate2d

from lensbench.analysers.photon_transfer import (
    SharedNoise,
    assess_noise,
    measure_departure,
    measure_noise_line,
    measure_shared_noise,
)
from lensbench.shot import Shot
from lensbench.uniform_blocks import read_uniform_blocks

SIZE, BLACK, WHITE, UNITS = (1024, 768), 512, 15_512, 0.5
GAIN = 1 + 0.005 * np.random.default_rng(5).standard_normal(SIZE[::-1])


def light_of_a_sheet():
    """White that falls off by a stop to the corners, with black squares of 96 px on it: electrons."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    h2 = ((x - 511.5) ** 2 + (y - 383.5) ** 2) / (SIZE[0] ** 2 + SIZE[1] ** 2) * 4
    ink = (x // 96 + y // 96) % 2
    return 22_000 * 2.0**-h2 * np.where(ink, 0.05, 1.0)


def distances():
    """h² over the frame."""
    x, y = np.meshgrid(np.arange(SIZE[0]) - 511.5, np.arange(SIZE[1]) - 383.5)
    return (x**2 + y**2) / (511.5**2 + 383.5**2)


def shot(seed=1, change=lambda light: light, black=BLACK, electrons=None):
    """A frame without colours; `change` is done to the stored light, as a share of full scale."""
    rng = np.random.default_rng(seed)
    electrons = light_of_a_sheet() if electrons is None else electrons
    taken = rng.poisson(electrons * GAIN) + 3 * rng.standard_normal(electrons.shape)
    share = change(taken * UNITS / (WHITE - BLACK))
    samples = np.clip(np.rint(BLACK + share * (WHITE - BLACK)), 0, WHITE).astype(np.uint16)
    return Shot.from_array(samples, black, WHITE)


def blocks(**given):
    return read_uniform_blocks(shot(**given))


def gamma(power):
    return lambda light: np.clip(light, 0, 1) ** (1 / power)


def test_an_honest_line_has_the_cameras_gain_and_read_noise():
    """0.5 stored numbers an electron and 3 electrons of read noise, as drawn."""
    line = measure_noise_line(blocks())
    assert line.photons == pytest.approx(UNITS, rel=0.03)
    assert abs(line.reading - (3 * UNITS) ** 2) < 4 * line.reading_sigma
    assert (line.too_quiet, line.too_noisy, line.brightened) == (False, False, False)


def test_a_narrow_range_of_light_accuses_no_black_level():
    """Light that varies by a fifth can't tell a pixel's gain from a line that meets zero elsewhere.

    Without the gain's own uncertainty 5 of these 12 flats put black 16 to 19 % of full scale too low.
    """
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    light = 22_000 * (1 - 0.2 * ((x - 511.5) ** 2 + (y - 383.5) ** 2) / (511.5**2 + 383.5**2))
    lines = [measure_noise_line(blocks(seed=100 + number, electrons=light)) for number in range(12)]
    assert not [line for line in lines if line and (line.too_quiet or line.too_noisy or line.brightened)]


@pytest.mark.parametrize(("stated", "sign"), [(312, "too_quiet"), (712, "too_noisy")])
def test_a_black_level_off_by_200(stated, sign):
    line = measure_noise_line(blocks(black=stated))
    assert getattr(line, sign)
    # The line meets zero where black really lies.
    assert line.black_offset == pytest.approx(stated - BLACK, abs=40)


def test_a_tone_curve_shows_in_one_shot_and_a_milder_one_in_two():
    assert measure_noise_line(blocks(change=gamma(1.3))).too_noisy
    straight, bent = (
        measure_departure(*(blocks(seed=s, change=c) for s in (1, 2))) for c in (gamma(1), gamma(1.1))
    )
    assert abs(straight.value) < 2 * straight.half_width < 2.0
    assert bent.value > 2 * bent.half_width


@pytest.mark.parametrize(
    ("change", "off"),
    [
        # A curve's slope multiplies noise: of x - a sin(2πx)/2π it is 1 - a cos(2πx), from below to above 1.
        (lambda light: light - 0.15 * np.sin(2 * np.pi * light) / (2 * np.pi), True),
        (lambda light: light * 2 ** (0.25 * distances()), True),
        (lambda light: light, False),
        (lambda light: 0.8 * light, False),
    ],
)
def test_noise_off_any_line(change, off):
    """An S-curve about the middle, and corners brightened by a quarter of a stop; a gain is no fault."""
    assert assess_noise(blocks(seed=8, change=change)).off_the_line is off


def test_no_clean_shot_lies_off_its_line():
    x, y = np.meshgrid(np.arange(512), np.arange(384))
    even = 20_000 * 2.0 ** (-((x - 255.5) ** 2 + (y - 191.5) ** 2) / (255.5**2 + 191.5**2))
    rng = np.random.default_rng(31)
    for _ in range(10):
        samples = np.rint(BLACK + UNITS * (rng.poisson(even) + 3 * rng.standard_normal(even.shape)))
        flat = Shot.from_array(samples.astype(np.uint16), BLACK, WHITE)
        assert not assess_noise(read_uniform_blocks(flat)).off_the_line


def test_specks_in_a_part_of_the_sheet_are_no_curve():
    """Where dark specks lie on most blocks, many stand out, and faint ones stay among the others."""
    rng = np.random.default_rng(12)
    specks = gaussian_filter((rng.random(SIZE[::-1]) < 0.02) * rng.random(SIZE[::-1]), 0.8)
    specks *= np.abs(distances() - 0.4) < 0.1
    assert not assess_noise(blocks(electrons=light_of_a_sheet() * (1 - specks))).off_the_line


def test_corners_that_were_brightened():
    """What multiplies numbers multiplies the variance by the square, so that like light is noisier."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    h2 = ((x - 511.5) ** 2 + (y - 383.5) ** 2) / (SIZE[0] ** 2 + SIZE[1] ** 2) * 4
    assert measure_noise_line(blocks(change=lambda light: light * 2.0 ** (0.5 * h2))).brightened


@pytest.mark.parametrize(("amount", "shows"), [(0.0, False), (0.05, True), (-0.05, True)])
def test_samples_mixed_with_their_neighbours(amount, shows):
    """Each sample with a share of the next: white noise gets that correlation."""
    shared = measure_shared_noise(blocks(change=lambda light: light + amount * np.roll(light, 1, axis=1)))
    assert shared.processed == shows
    assert shared.correlation == pytest.approx(amount / 2, abs=4 * shared.sigma)


@pytest.mark.parametrize(
    ("kernel", "true"),
    [
        # Moved straight between samples: by half of one, ρ = 0.25 / 0.5; by 0.3, 0.7 · 0.3 / (0.7² + 0.3²).
        (np.outer([0.5, 0.5], [0.5, 0.5]), 0.5),
        (np.outer([0.7, 0.3], [0.7, 0.3]), 0.21 / 0.58),
        # A tenth of the four neighbours' mean subtracted: -2 · 1.1 · 0.025 / (1.1² + 4 · 0.025²).
        (np.array([[0, -0.025, 0], [-0.025, 1.1, -0.025], [0, -0.025, 0]]), -0.055 / 1.2125),
    ],
)
def test_samples_filtered_by_known_kernels(kernel, true):
    """Filtered white noise has the kernel's own autocorrelation as its autocovariance.

    (Papoulis, Probability, Random Variables and Stochastic Processes, 1965, chapter 10; memory.)
    """
    lags = correlate2d(kernel, kernel)
    middle = len(lags) // 2
    assert lags[middle, middle + 1] / lags[middle, middle] == pytest.approx(true)
    shared = measure_shared_noise(blocks(change=lambda light: convolve(light, kernel)))
    assert shared.processed
    assert shared.correlation == pytest.approx(true, abs=4 * shared.sigma)
    assert shared.sigma < 0.015


def test_a_channel_without_black_hides_no_smoothing_of_the_others():
    """From white alone smoothing can't be told from paper: such a channel's 0 is no measurement of it."""

    def smoothed(light):
        return light + 0.05 * np.roll(light, 1, axis=1)

    seen = measure_shared_noise(blocks(change=smoothed))
    white = measure_shared_noise(blocks(change=smoothed, electrons=np.full(SIZE[::-1], 22_000.0)))
    assert white.correlation == 0
    assert SharedNoise.mean([seen, white, seen]).correlation == pytest.approx(seen.correlation)
    assert SharedNoise.mean([white, white]).correlation == 0


def sharp_sheet(change):
    """The sheet's blocks after its edges were blurred by 1.2 px, drawn in photons and changed."""
    taken = np.random.default_rng(9).poisson(gaussian_filter(light_of_a_sheet(), 1.2)) * UNITS
    return read_uniform_blocks(Shot.from_array(np.rint(BLACK + change(taken)).astype(np.uint16), BLACK, WHITE))


def test_halos_of_sharpened_edges_are_no_smoothing():
    """They reach into the black between, whose neighbours then go together; white's are opposed (unsharp mask)."""
    seen = measure_shared_noise(sharp_sheet(lambda light: light + 0.15 * (light - gaussian_filter(light, 3.0))))
    assert seen.correlation < 0


@pytest.mark.parametrize("period", [1.3, 2.0, 4.0])
def test_black_printed_in_dots_is_no_curve_and_no_filter(period):
    """Its variance is ink's: white's noise is the sensor's own."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    dots = np.cos(2 * np.pi * (0.77 * x + 0.64 * y) / period) + np.cos(2 * np.pi * (0.77 * y - 0.64 * x) / period)
    sheet = light_of_a_sheet()
    dotted = blocks(electrons=np.where(sheet < 2000, sheet * (1 + 0.3 * dots), sheet))
    noise, shared = assess_noise(dotted), measure_shared_noise(dotted)
    assert (noise.curved, noise.off_the_line, shared.processed) == (False, False, False)
    assert noise.line is None or (noise.line.too_noisy, noise.line.too_quiet) == (False, False)


def test_paper_is_no_filter_and_no_line():
    """Texture twice as strong as the noise, smooth over three pixels, as a lens draws it."""
    fibres = np.random.default_rng(8).standard_normal(SIZE[::-1])
    grain = sum(np.roll(fibres, (i, k), (0, 1)) for i in range(3) for k in range(3)) / 3
    paper = light_of_a_sheet() * (1 + 0.012 * grain)
    assert measure_noise_line(blocks(electrons=paper)) is None
    assert not measure_shared_noise(blocks(electrons=paper)).processed


def test_coarse_steps_are_told_from_noise():
    fine, coarse = (
        assess_noise(blocks(change=change)) for change in (gamma(1), lambda light: np.rint(light * 40) / 40)
    )
    assert fine.coarseness < 0.01
    assert coarse.coarseness > 0.5
    developed = replace(shot(), samples=shot().samples.astype(np.float32))
    assert assess_noise(read_uniform_blocks(developed)).coarseness == 0
