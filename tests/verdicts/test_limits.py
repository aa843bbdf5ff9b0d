"""What belongs to whom, against closed forms and GalSim's transfer functions."""

import galsim
import numpy as np
import pytest
from scipy.optimize import brentq

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY
from lensbench.analysers.sharpness import ShotEdges, measure_sharpness
from lensbench.findings import ContrastCurve, Figure, Setting, Sharpness, TileSharpness, ZoneSharpness
from lensbench.verdicts.limits import best_possible_mtf50, judge_limits
from tests import spoiled_shots
from tests.drawn_blades import mtf50_of
from tests.known_edges import airy, gaussian, true_mtf50, with_pixel
from tests.outside.diffraction import contrast_of_a_pupil
from tests.spoiled_shots import taken

SIZE, PITCH_UM = (6000, 4000), 6.0
STEPS = np.linspace(0, 1, 501)
DIRECTIONS = ("sagittal", "tangential", "mean")


def setting_of(transfer, f_number=8.0, magnification=1.0, half=0.004, channel="green", place=(3400.0, 1999.5)):
    """A setting of one zone whose curves are known; its one tile lies to the right of the middle."""
    mtf = np.abs(transfer(FREQUENCY))
    figure = Figure.of(true_mtf50(transfer), 0.002, "cy/px")
    curve = ContrastCurve(*(a.tolist() for a in (FREQUENCY, mtf, np.maximum(mtf - half, 0), mtf + half)))
    name = frame.zone_of(*place, SIZE)
    zones = [ZoneSharpness(name, channel, way, figure, None, 1, curve=curve) for way in DIRECTIONS]
    tile = TileSharpness(0, 0, channel, *place, 0.1, figure, figure, True)
    scale = None if magnification is None else Figure.of(magnification, 0.0, "×")
    return Setting(f_number, magnification=scale, sharpness=Sharpness(zones=zones, tiles=[tile]))


def through_pixels(sigma, angle=0.0):
    """A Gaussian blur seen through square pixels, along a direction."""
    return with_pixel(gaussian(sigma), angle)


def by_direction(limits):
    return {zone.direction: zone for zone in limits.zones}


# -- what is possible -----------------------------------------------------------------------------------------


# Smith, Modern Optical Engineering (memory): 91.8 lp/mm at 550 nm and f/8, half of that at f/16.
@pytest.mark.parametrize(("f_number", "lp_mm"), [(8.0, 91.8), (16.0, 45.9)])
def test_without_pixels_diffraction_alone_is_left(f_number, lp_mm):
    no_pixel = np.ones_like(STEPS)
    assert best_possible_mtf50(no_pixel, "grey", f_number, 2.0) * 1000 / 2.0 == pytest.approx(lp_mm, abs=0.05)


# Goodman, ch. 6 (memory), times the transform of a unit box.
@pytest.mark.parametrize(("channel", "nm"), [("red", 610), ("green", 540), ("blue", 460)])
def test_diffraction_and_pixel_together(channel, nm):
    both = true_mtf50(with_pixel(airy(nm / 1000 * 16 / 6.0), 0.0))
    assert best_possible_mtf50(np.sinc(STEPS), channel, 16.0, 6.0) == pytest.approx(both, abs=1e-4)


# GalSim (Rowe et al. 2015): Airy disc and square pixel convolved, the transfer function along the pixel's axis.
def test_diffraction_and_pixel_are_galsims():
    system = galsim.Convolve(galsim.Airy(lam_over_diam=0.54 * 11 / 6.0), galsim.Pixel(1.0))
    outside = brentq(lambda f: system.kValue(2 * np.pi * f, 0).real - 0.5, 0.01, 0.9)
    assert best_possible_mtf50(np.sinc(STEPS), "green", 11.0, 6.0) == pytest.approx(outside, abs=2e-4)


# poppy (Perrin et al. 2012), wavefront to picture to contrast, at the sensor's own f-number N (1 + m / P).
@pytest.mark.parametrize(
    ("f_number", "magnification", "channel", "nm"),
    [(8.0, 1.0, "green", 540), (4.0, 0.25, "blue", 460), (11.0, 0.5, "red", 610)],
)
def test_what_is_possible_is_poppys(f_number, magnification, channel, nm):
    f = np.linspace(0.01, 0.6, 119)
    seen_by_sensor = f_number * (1 + magnification)
    contrast = contrast_of_a_pupil(seen_by_sensor, nm / 1000, f / PITCH_UM) * np.sinc(f)
    outside = float(np.interp(-0.5, -contrast, f))
    setting = setting_of(through_pixels(1.5), f_number, magnification, channel=channel)
    for zone in judge_limits(setting, SIZE, PITCH_UM).zones:
        # 0.0012 more contrast than the closed form's, on a curve that falls by 1.2 a cy/px or more.
        assert zone.best_possible_mtf50 == pytest.approx(outside, abs=0.0015)
        mtf50 = setting.sharpness.zones[0].mtf50.value
        assert zone.achieved_percent.value == pytest.approx(100 * mtf50 / outside, rel=0.006)


def test_the_effective_aperture_counts():
    # N (1 + m / P): f/8 at 1× is f/16, with P = 2 f/12 (common practice).
    setting = setting_of(gaussian(1.0))
    assert judge_limits(setting, SIZE, PITCH_UM).effective_f_number == pytest.approx(16)
    assert judge_limits(setting, SIZE, PITCH_UM, pupil_ratio=2.0).effective_f_number == pytest.approx(12)


def test_what_is_reached_is_a_share_of_what_is_possible():
    setting = setting_of(through_pixels(1.5), f_number=4.0, magnification=0.25)
    for zone in judge_limits(setting, SIZE, PITCH_UM).zones:
        mtf50 = setting.sharpness.zones[0].mtf50
        assert zone.achieved_percent.value == pytest.approx(100 * mtf50.value / zone.best_possible_mtf50)
        assert zone.achieved_percent.half_width == pytest.approx(100 * mtf50.half_width / zone.best_possible_mtf50)
        assert zone.best_possible_mtf50_lp_mm == pytest.approx(zone.best_possible_mtf50 * 1000 / 6)


def test_a_simulated_perfect_lens_reaches_all_of_it():
    seen = taken("plain")
    sharpness = measure_sharpness(
        [ShotEdges("t", seen.responses, seen.found)], spoiled_shots.SIZE, spoiled_shots.PITCH_UM
    )
    setting = Setting(4.0, magnification=Figure.of(spoiled_shots.MAGNIFICATION, 0, "×"), sharpness=sharpness)
    limits = judge_limits(setting, spoiled_shots.SIZE, spoiled_shots.PITCH_UM)
    reached = [zone.achieved_percent.value for zone in limits.zones]
    # 13 zones in both directions and their mean, a corner or two apart; MTF50 near 0.45 cy/px.
    assert len(reached) > 34
    assert np.median(reached) == pytest.approx(100, abs=0.7)
    assert np.abs(np.array(reached) - 100).max() < 3


def test_what_is_missing_is_named():
    curve = gaussian(1.0)
    nameless = judge_limits(setting_of(curve, f_number=None), SIZE, PITCH_UM)
    unknown = judge_limits(setting_of(curve), SIZE, None)
    unscaled = judge_limits(setting_of(curve, magnification=None), SIZE, PITCH_UM)
    assert "f_number" in nameless.missing[0]
    assert "sensor_mm" in unknown.missing[0]
    assert "magnification" in unscaled.missing[0]
    for limits in (nameless, unknown, unscaled):
        assert limits.effective_f_number is None
        assert all(zone.achieved_percent is None and zone.lens_only_mtf50 for zone in limits.zones)
    assert judge_limits(Setting(8.0), SIZE, PITCH_UM) is None


# -- the lens alone -------------------------------------------------------------------------------------------


# Gaussian: MTF50 = √(ln 2 / 2) / (π s).
@pytest.mark.parametrize("sigma", [0.5, 1.0, 2.0])
def test_the_pixel_is_divided_out(sigma):
    limits = judge_limits(setting_of(through_pixels(sigma)), SIZE, PITCH_UM)
    truth = mtf50_of(sigma)
    # To the right of the middle both directions lie along the pixels' axes.
    for zone in limits.zones:
        assert zone.lens_only_mtf50.value == pytest.approx(truth, rel=0.004)
        assert zone.lens_only_mtf50_lp_mm.value == pytest.approx(truth * 1000 / 6, rel=0.004)
        known = np.array(zone.lens_only.frequency)
        assert zone.lens_only.mtf == pytest.approx(gaussian(sigma)(known), abs=0.002)
        assert zone.measurable_up_to == pytest.approx(known[-1], abs=1e-5)


def test_along_the_diagonal_the_pixel_is_the_product_of_two():
    seen = through_pixels(0.6, np.pi / 4)
    limits = judge_limits(setting_of(seen, place=(2999.5 + 800, 1999.5 + 800)), SIZE, PITCH_UM)
    truth = mtf50_of(0.6)
    assert by_direction(limits)["sagittal"].lens_only_mtf50.value == pytest.approx(truth, rel=0.004)


def test_division_ends_where_noise_would_drown_it():
    seen = through_pixels(0.3)
    quiet, noisy = (judge_limits(setting_of(seen, half=half), SIZE, PITCH_UM) for half in (0.004, 0.02))
    for limits, half in ((quiet, 0.004), (noisy, 0.02)):
        for zone in limits.zones:
            # The interval grows by 1 / sinc; it may reach 0.05 to either side.
            assert half / np.sinc(zone.measurable_up_to) < 0.05
            beyond = FREQUENCY[zone.measurable_up_to < FREQUENCY][0]
            assert half / np.sinc(beyond) > 0.05
            assert np.all(np.array(zone.lens_only.high) - zone.lens_only.mtf < 0.0501)
    # A lens that keeps more than half of the contrast as far as can be told has no MTF50 of its own here.
    sharp = judge_limits(setting_of(through_pixels(0.2), half=0.02), SIZE, PITCH_UM)
    assert all(zone.lens_only_mtf50 is None for zone in sharp.zones)


def test_intervals_follow_the_division():
    # A Gaussian falls at its MTF50 by ln 2 / MTF50; the pixel's share widens the curve's interval.
    sigma, half = 1.0, 0.004
    zone = judge_limits(setting_of(through_pixels(sigma), half=half), SIZE, PITCH_UM).zones[0]
    mtf50 = mtf50_of(sigma)
    expected = half / np.sinc(mtf50) / (np.log(2) / mtf50)
    assert zone.lens_only_mtf50.half_width == pytest.approx(expected, rel=0.05)


# -- the print ------------------------------------------------------------------------------------------------


def test_the_printers_dots_are_reckoned():
    # 600 dots an inch are 42.33 µm, seven 6 µm pixels at life size; an edge rounded to them strays by 1 / √12.
    setting = setting_of(gaussian(3.0), magnification=1.0)
    blur = judge_limits(setting, SIZE, PITCH_UM, print_dpi=600).print_blur
    assert blur.source == "dots"
    assert blur.sigma_px.value == pytest.approx(7.056 / np.sqrt(12), rel=1e-3)
    assert judge_limits(setting, SIZE, PITCH_UM).print_blur is None


def test_a_known_print_is_divided_out_and_flagged():
    # Gaussians add by squares: lens 1.0, print 0.6 px.
    both = np.hypot(1.0, 0.6)
    setting = setting_of(through_pixels(both), half=0.001)
    limits = judge_limits(setting, SIZE, PITCH_UM, raggedness_px=Figure.of(0.6, 0.01, "px"))
    assert limits.print_blur.source == "raggedness"
    assert limits.print_limited == [setting.sharpness.zones[0].zone]
    truth = mtf50_of(1.0)
    for zone in limits.zones:
        assert zone.lens_only_mtf50.value == pytest.approx(truth, rel=0.004)
    # Without the print the system would be a 1.0 px Gaussian and the pixel.
    percent = 100 * (true_mtf50(through_pixels(1.0)) / true_mtf50(through_pixels(both)) - 1)
    assert limits.zones[0].lost_to_print_percent == pytest.approx(percent, rel=0.02)


def test_a_fine_print_is_no_limit():
    setting = setting_of(gaussian(2.0), magnification=0.1)
    limits = judge_limits(setting, SIZE, PITCH_UM, print_dpi=1200)
    assert limits.print_limited == []
    # Dots of 0.353 px stray by 0.102; 2 / √(2² - 0.102²) - 1.
    assert limits.zones[0].lost_to_print_percent == pytest.approx(0.130, abs=0.003)
