"""Handbook formulas against handbook values."""

import galsim
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j1

from lensbench import optics
from tests.outside.diffraction import contrast_of_a_pupil


# Goodman, Introduction to Fourier Optics, ch. 6; Smith, Modern Optical Engineering (values from memory).
@pytest.mark.parametrize(
    ("u", "expected"), [(0.25, 0.6850), (0.5, 0.3910), (0.75, 0.1443), (0, 1), (1, 0), (2, 0)]
)
def test_perfect_lens(u, expected):
    assert optics.perfect_mtf(u / (550e-6 * 8), 550e-6, 8) == pytest.approx(expected, abs=5e-5)


# Smith (memory): at 550 nm and f/8 the cut-off is 227.3 lp/mm and MTF50 91.8; at 1× both halve.
def test_perfect_lens_at_f8_and_at_life_size():
    for magnification, mtf50 in ((0, 91.8), (1, 45.9)):
        n_eff = optics.effective_f_number(8, magnification)
        found = brentq(lambda f, n=n_eff: float(optics.perfect_mtf(f, 550e-6, n)) - 0.5, 1, 200)
        assert found == pytest.approx(mtf50, abs=0.05)
        assert found * 550e-6 * n_eff == pytest.approx(optics.PERFECT_MTF50, abs=1e-5)


def test_gaussian_falls_to_half_where_the_closed_form_says():
    assert optics.gaussian_mtf50(1) == pytest.approx(0.18739, abs=1e-5)
    assert optics.gaussian_mtf(optics.gaussian_mtf50(2.5), 2.5) == pytest.approx(0.5)


# The transform of a unit box: 2/π at Nyquist on the axis; along the diagonal the product of two.
def test_pixel():
    assert optics.pixel_mtf(0.5, 1, 0) == pytest.approx(0.6366, abs=5e-5)
    diagonal = np.sqrt(0.5)
    assert optics.pixel_mtf(0.5, diagonal, diagonal) == pytest.approx(np.sinc(0.5 * diagonal) ** 2)
    assert optics.pixel_mtf(1.5, 1, 0) < 0


# Smith (memory).
@pytest.mark.parametrize(("angle", "stops"), [(20, 0.3590), (30, 0.8301), (40, 1.5380), (45, 2), (60, 4)])
def test_cos4(angle, stops):
    assert optics.cos4_stops(angle) == pytest.approx(stops, abs=5e-5)


# Handbook tables of the diagonal field on 36 × 24 mm at infinity.
@pytest.mark.parametrize(("focal", "angle"), [(20, 94.5), (24, 84.1), (28, 75.4), (35, 63.4), (50, 46.8)])
def test_field_at_infinity(focal, angle):
    assert optics.field_angle_deg(np.hypot(36, 24), focal) == pytest.approx(angle, abs=0.05)


def test_field_at_life_size():
    distance = 20 * (1 + 1.0)
    assert optics.field_angle_deg(np.hypot(36, 24), distance) == pytest.approx(56.8, abs=0.05)


# Common practice (memory): f/8 at 1×, c = 0.030 mm, P = 1.
def test_depth_of_field_close_up():
    assert optics.depth_of_field(8, 1, 0.030) == pytest.approx(0.96)


# Smith (memory): ±70.4 µm at f/8 at infinity, ±282 µm at f/8 and 1×, 550 nm.
def test_quarter_wave():
    assert optics.quarter_wave_focus(8, 0.550) == pytest.approx(70.4, abs=0.05)
    assert optics.quarter_wave_focus(optics.effective_f_number(8, 1), 0.550) == pytest.approx(282, abs=0.5)


def test_quarter_wave_before_the_lens():
    """Moving the target by dz moves its picture by m² dz, by 1/f = 1/s + 1/s' (Smith; memory).

    At life size both depths are one, ± 34.5 µm at f/2.8; at half of it the target's is four times the sensor's.
    """
    assert optics.quarter_wave_field(2.8, 1.0, 0.550) == pytest.approx(34.5, abs=0.05)
    sensor = optics.quarter_wave_focus(optics.effective_f_number(4, 0.5, 0.8), 0.550)
    assert optics.quarter_wave_field(4, 0.5, 0.550, 0.8) == pytest.approx(4 * sensor)
    focal, target = 50.0, 50.0 * (1 + 1 / 0.5)
    picture = [1 / (1 / focal - 1 / (target + moved)) for moved in (-0.05, 0.05)]
    ratio = optics.quarter_wave_field(8, 0.5, 0.550) / optics.quarter_wave_focus(
        optics.effective_f_number(8, 0.5), 0.550
    )
    assert ratio == pytest.approx(0.1 / (picture[0] - picture[1]), rel=1e-4)


# Hopkins (1955): in focus the closed form of a clear pupil; far out of it an even disc δ / N wide, 2 J₁(x)/x.
def test_defocus_between_the_perfect_lens_and_the_disc():
    f = np.linspace(0, 1 / (0.55 * 8), 30)
    assert optics.defocused_mtf(f, 0.55, 8, 0.0) == pytest.approx(optics.perfect_mtf(f, 0.55, 8), abs=1e-5)
    f = np.linspace(1e-4, 0.006, 30)
    x = np.pi * f * 2000 / 8
    assert optics.defocused_mtf(f, 0.55, 8, 2000.0) == pytest.approx(2 * j1(x) / x, abs=0.03)
    # Contrast reverses beyond the disc's first zero, x = 3.8317 (Born & Wolf; memory).
    reversed_at = f[np.argmax(optics.defocused_mtf(f, 0.55, 8, 2000.0) < 0)] * np.pi * 2000 / 8
    assert reversed_at == pytest.approx(3.8317, abs=0.3)


# poppy (Perrin et al. 2012) carries the wavefront of a round pupil to a point's picture. Its pupil of 512 squares
# and its picture of 256 λN leave its own perfect lens 0.0012 above the closed form.
@pytest.mark.parametrize(("f_number", "nm"), [(2.8, 460), (5.6, 540), (8.0, 550), (16.0, 610), (32.0, 540)])
def test_the_perfect_lens_is_poppys(f_number, nm):
    wavelength = nm / 1000
    f = np.linspace(0.02, 1.05, 24) / (wavelength * f_number)
    outside = contrast_of_a_pupil(f_number, wavelength, f)
    assert optics.perfect_mtf(f, wavelength, f_number) == pytest.approx(outside, abs=2e-3)


# Out of focus by δ the wavefront is W r², W = δ / (8 N²): in Noll's polynomials W / (2 √3) of Z4.
@pytest.mark.parametrize(("f_number", "off_um"), [(4.0, 20.0), (8.0, 70.4), (8.0, 250.0)])
def test_defocus_is_poppys(f_number, off_um):
    f = np.linspace(0.02, 0.9, 18) / (0.55 * f_number)
    zernike = {4: off_um / (8 * f_number**2) / (2 * np.sqrt(3))}
    outside = contrast_of_a_pupil(f_number, 0.55, f, zernike=zernike)
    assert np.abs(optics.defocused_mtf(f, 0.55, f_number, off_um)) == pytest.approx(outside, abs=2.5e-3)


# Smith; Born & Wolf, ch. 9 (memory): a quarter wave leaves the perfect lens sinc²(1/4) = 0.8106 of its peak, the
# peak being the response summed over all frequencies.
def test_a_quarter_wave_leaves_four_fifths_of_the_peak():
    f = np.linspace(0, 1 / (0.55 * 8), 4001)
    off = float(optics.quarter_wave_focus(8, 0.55))
    peak = [(optics.defocused_mtf(f, 0.55, 8, at) * f).sum() for at in (0.0, off)]
    assert peak[1] / peak[0] == pytest.approx(np.sinc(0.25) ** 2, abs=2e-4)


# GalSim counts defocus in waves of Noll's Zernike Z4 = √3 (2 r² - 1): of W r², W = δ / (8 N²), that is W / (2 √3).
def test_defocus_is_galsims():
    pitch_um, f_number, wavelength_um, off_um = 6.0, 4.0, 0.55, 60.0
    waves = off_um / (8 * f_number**2) / wavelength_um / (2 * np.sqrt(3))
    psf = galsim.OpticalPSF(
        lam_over_diam=wavelength_um * f_number / pitch_um, defocus=waves, oversampling=2, pad_factor=4
    )
    f = np.linspace(0.01, 0.5, 20)
    outside = [psf.kValue(2 * np.pi * at, 0).real / psf.flux for at in f]
    assert optics.defocused_mtf(f / pitch_um, wavelength_um, f_number, off_um) == pytest.approx(outside, abs=0.01)
