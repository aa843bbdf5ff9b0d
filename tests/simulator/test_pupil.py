"""The pupil's response, against closed forms, handbook values and poppy."""

import numpy as np
import pytest
from scipy.special import j1

from lensbench.simulator.lens import Colour, Rim
from tests.outside.diffraction import contrast_of_a_pupil
from tests.simulator.benches import PITCH_MM, even_lens, response_of

ACROSS = np.array([1.0, 0.0])


def contrast(response, frequency, way=ACROSS, pixel=False):
    frequency = np.asarray(frequency)
    return np.abs(response.along(frequency * way[0], frequency * way[1], pixel))


def test_perfect_lens_meets_the_handbook():
    """0.6850, 0.3910, 0.1443 at a quarter, half and three quarters of the cut-off (Goodman, ch. 6; memory)."""
    response = response_of(even_lens(open_f_number=8.0), 8.0)
    cutoff = 1000 * PITCH_MM / (0.55 * 8)  # 227.3 lp/mm
    found = contrast(response, cutoff * np.array([0.25, 0.5, 0.75]))
    assert found == pytest.approx([0.6850, 0.3910, 0.1443], abs=1e-4)


def test_life_size_costs_two_stops():
    """At 1×, P = 1, f/8 works as f/16: the cut-off halves (common practice)."""
    near = response_of(even_lens(open_f_number=8.0), 8.0, magnification=1.0)
    far = response_of(even_lens(open_f_number=16.0), 16.0)
    f = np.linspace(0, 0.7, 15)
    assert contrast(near, f) == pytest.approx(contrast(far, f), abs=1e-6)


def test_far_defocus_is_an_even_disc():
    """Geometrical optics: 2 J₁(x)/x over a disc of diameter δ / N (Smith, Modern Optical Engineering; memory)."""
    response = response_of(even_lens(open_f_number=2.8), 2.8, defocus_mm=0.4)
    disc = 0.4 / 2.8 / PITCH_MM
    f = np.linspace(0.002, 0.04, 12)
    x = np.pi * disc * f
    assert contrast(response, f) == pytest.approx(np.abs(2 * j1(x) / x), abs=0.012)


def test_quarter_wave_of_defocus():
    """± 70.4 µm at f/8 and 550 nm make a quarter wave (Smith; memory), which leaves 0.81 of the peak: the sum
    of the response falls to sinc²(1/4) of the perfect lens' (Born & Wolf, ch. 9; memory)."""
    lens = even_lens(open_f_number=8.0)
    axis = np.linspace(-1.5, 1.5, 601)
    fx, fy = np.meshgrid(axis, axis)
    perfect, blurred = (
        response_of(lens, 8.0, defocus_mm=defocus).along(fx, fy, pixel=False).real.sum() for defocus in (0, 0.0704)
    )
    assert blurred / perfect == pytest.approx(np.sinc(0.25) ** 2, abs=2e-3)


@pytest.mark.parametrize(
    ("aberration", "zernike"),
    [
        # Each Seidel term in Noll's normed polynomials (Mahajan, Zernike circle polynomials; memory), in µm.
        ({"spherical_um": 0.6}, {11: 0.6 / (6 * 5**0.5), 4: 0.0}),
        ({"axial_coma_um": (0.7, 0.0)}, {8: 0.7 / (3 * 8**0.5), 2: 0.7 / 3}),
        ({"axial_coma_um": (0.0, 0.5)}, {7: 0.5 / (3 * 8**0.5), 3: 0.5 / 3}),
    ],
)
def test_against_poppy(aberration, zernike):
    lens = even_lens(open_f_number=5.6, **aberration)
    response = response_of(lens, 5.6)
    f = np.arange(1, 14) * 0.1
    for way, axis in ((np.array([1.0, 0.0]), 1), (np.array([0.0, 1.0]), 0)):
        outside = contrast_of_a_pupil(5.6, 0.55, f / (1000 * PITCH_MM), axis, zernike)
        # poppy's own perfect lens lies 0.0012 above the closed form, its pupil being of 512 squares.
        assert contrast(response, f, way) == pytest.approx(outside, abs=2.5e-3)


def test_closing_the_iris_cuts_the_outer_wavefront():
    """Twice the f-number leaves a sixteenth of spherical aberration; what is left of its focus stays a defocus."""
    opened = even_lens(open_f_number=4.0, spherical_um=1.6)
    # A(r⁴ - r²) at half the pupil is A/16 (ρ⁴ - ρ²) - 3A/16 ρ², and ρ² µm are 8 N² µm of defocus.
    same = even_lens(open_f_number=8.0, spherical_um=0.1)
    defocus = -0.3 * 8 * 64 / 1000
    f = np.linspace(0.05, 1.2, 24)
    one, other = response_of(opened, 8.0), response_of(same, 8.0, defocus_mm=defocus)
    assert contrast(one, f) == pytest.approx(contrast(other, f), abs=3e-6)


def test_astigmatism_blurs_along_the_radius():
    lens = even_lens(open_f_number=4.0, astigmatism_um=1.0)
    response = response_of(lens, 4.0, position_mm=(20.0, 0.0))
    assert contrast(response, 0.3, (1.0, 0.0)) < 0.7 * contrast(response, 0.3, (0.0, 1.0))
    perfect = response_of(even_lens(open_f_number=4.0), 4.0)
    f = np.linspace(0.1, 1.0, 10)
    assert contrast(response, f, (0.0, 1.0)) == pytest.approx(contrast(perfect, f), abs=1e-4)


def test_several_wavelengths_average_their_responses():
    """Without aberrations, the response of a mixture is the weighted mean (Goodman, ch. 6; memory)."""
    mixed = response_of(even_lens(open_f_number=8.0, colours={"grey": Colour((0.45, 0.65), (1.0, 3.0))}), 8.0)
    f = np.linspace(0.05, 1.2, 24)
    parts = [
        contrast(response_of(even_lens(open_f_number=8.0, colours={"grey": Colour((w,))}), 8.0), f)
        for w in (0.45, 0.65)
    ]
    assert contrast(mixed, f) == pytest.approx((parts[0] + 3 * parts[1]) / 4, abs=1e-3)


def test_a_rim_narrows_the_pupil_along_the_radius():
    """A cat's eye in an outer field: less contrast in fine lines around the circle than along the radius."""
    lens = even_lens(open_f_number=4.0, rim=Rim(1.1, 0.8))
    response = response_of(lens, 4.0, position_mm=(21.63, 0.0))
    assert contrast(response, 0.9, (1.0, 0.0)) < 0.8 * contrast(response, 0.9, (0.0, 1.0))
    # Two circles of radii 1 and 1.1, 0.8 apart, are 1.30 wide along the line of their centres; the clear pupil 2.
    cutoff = 1000 * PITCH_MM / (0.55 * 4) * 1.30 / 2
    assert contrast(response, 0.97 * cutoff, (1.0, 0.0)) > 0
    assert contrast(response, 1.03 * cutoff, (1.0, 0.0)) < 1e-3
