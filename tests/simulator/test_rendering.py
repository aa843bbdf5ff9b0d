"""Edges drawn by the simulator, against GalSim's and closed forms: its own error is below a tenth of the bars.

GalSim (Rowe et al. 2015, Astronomy and Computing 10) draws a turned box, convolved, on square pixels.
"""

import galsim
import numpy as np
import pytest

from lensbench.simulator.lens import Colour
from tests.simulator.benches import PITCH_MM, blade_px, drawn, even_lens, gaussian_lens, grey_camera, response_of

SIZE = (200, 160)
BLADE = (97.3, 61.8)
EXACT = galsim.GSParams(maximum_fft_size=16384, folding_threshold=1e-3, maxk_threshold=1e-4)


def by_galsim(blur, angle_deg, how=EXACT):
    """The same blade: white 1, blade 0. GalSim's y grows with the row, so its angles run the other way."""
    box = galsim.Box(*BLADE, flux=BLADE[0] * BLADE[1], gsparams=how).rotate(-angle_deg * galsim.degrees)
    return 1 - galsim.Convolve([box, blur], gsparams=how).drawImage(nx=SIZE[0], ny=SIZE[1], scale=1.0).array


def ours(lens, f_number, angle_deg):
    return drawn(lens, f_number, blade_px(angle_deg, BLADE), grey_camera(SIZE))[0]


@pytest.mark.parametrize("sigma", [0.35, 0.7, 2.5])
@pytest.mark.parametrize("angle_deg", [4.3, 38.0])
def test_gaussian_edges(sigma, angle_deg):
    theirs = by_galsim(galsim.Gaussian(sigma=sigma, gsparams=EXACT), angle_deg)
    mine = ours(gaussian_lens(sigma), 8.0, angle_deg)
    assert np.abs(mine - theirs).max() < 1e-3
    assert np.std(mine - theirs) < 1e-4


@pytest.mark.parametrize("f_number", [4.0, 11.0])
def test_perfect_edges(f_number):
    spot = galsim.Airy(lam_over_diam=0.55 * f_number / (1000 * PITCH_MM), gsparams=EXACT)
    difference = ours(even_lens(open_f_number=f_number), f_number, 5.7) - by_galsim(spot, 5.7)
    assert np.abs(difference).max() < 1e-3
    assert np.std(difference) < 1e-4


@pytest.mark.parametrize(
    ("aberration", "defocus_mm", "noll"),
    [
        ({}, 0.06, {4: 0.06e3 / (8 * 5.6**2) / (2 * 3**0.5)}),
        ({"axial_coma_um": (0.9, 0.4)}, 0.0, {8: 0.3 / 8**0.5, 7: 0.4 / 3 / 8**0.5, 2: 0.3, 3: 0.4 / 3}),
        ({"spherical_um": 1.5}, 0.0, {11: 1.5 / (6 * 5**0.5)}),
    ],
)
def test_aberrated_edges(aberration, defocus_mm, noll):
    """Path errors in waves go to GalSim in Noll's numbering; `fft_sign` follows ours, that rays land along the
    gradient of the path error."""
    waves = np.zeros(12)
    for number, micrometres in noll.items():
        waves[number] = micrometres / 0.55
    spot = galsim.OpticalPSF(
        lam_over_diam=0.55 * 5.6 / (1000 * PITCH_MM),
        aberrations=waves,
        oversampling=2.0,
        pad_factor=3.0,
        gsparams=EXACT,
        fft_sign="-",
    )
    lens = even_lens(open_f_number=5.6, **aberration)
    mine = drawn(lens, 5.6, blade_px(5.7, BLADE), grey_camera(SIZE), defocus_mm=defocus_mm)[0]
    difference = mine - by_galsim(spot, 5.7, galsim.GSParams(maximum_fft_size=16384))
    assert np.abs(difference).max() < 4e-3
    assert np.std(difference) < 4e-4


def test_profile_of_a_long_edge_is_the_one_that_the_truth_gives():
    """Samples along a long edge against the integral of the response that MTF50 is read from: 1e-4 of the step."""
    lens = gaussian_lens(0.9)
    light, truth = drawn(lens, 8.0, blade_px(5.0, (150.0, 110.0)), grey_camera((260, 200)))
    middle, normal = truth.middle_px["grey"][0, 0], truth.normal[0, 0]
    rows, columns = np.mgrid[:200, :260]
    off = (columns - middle[0]) * normal[0] + (rows - middle[1]) * normal[1]
    along = (rows - middle[1]) * normal[0] - (columns - middle[0]) * normal[1]
    near = (np.abs(off) < 8) & (np.abs(along) < 30)
    f = (np.arange(2000) + 0.5) / 1000
    response = np.exp(-2 * (np.pi * 0.9 * f) ** 2) * np.sinc(f * normal[0]) * np.sinc(f * normal[1])
    profile = 0.5 + np.sin(2 * np.pi * off[near][:, None] * f) @ (response / (np.pi * f)) / 1000
    assert light[near] == pytest.approx(profile, abs=1e-4)


def test_blur_carries_light_about_but_loses_none():
    """Darkness adds up to the blade's area, far skirts and all (but what leaves the frame)."""
    for lens in (gaussian_lens(1.5), even_lens(open_f_number=4.0, spherical_um=1.0)):
        light, _ = drawn(lens, 4.0, blade_px(12.0, (60.0, 40.0)), grey_camera((400, 400)))
        assert (1 - light).sum(dtype=float) == pytest.approx(2400, rel=2e-3)


def test_neighbours_add_up_and_the_border_hides_nothing():
    """The right half of a frame shows the same when the frame is cut in the middle of the blade."""
    lens = even_lens(open_f_number=11.0)
    whole, _ = drawn(lens, 11.0, blade_px(5.0, BLADE), grey_camera((400, 300)))
    cut, _ = drawn(lens, 11.0, blade_px(5.0, BLADE, middle_px=(-100.0, 0.0)), grey_camera((200, 300)))
    assert cut == pytest.approx(whole[:, 200:], abs=2e-4)


def test_several_wavelengths_smear_along_the_radius():
    """Within a channel, light of shorter and longer waves lands apart where magnification depends on colour."""
    colours = {
        "red": Colour((0.61,), stretch=2e-3),
        "green": Colour((0.54,)),
        "blue": Colour((0.46,), stretch=-2e-3),
    }
    smeared = dict(colours, green=Colour((0.50, 0.54, 0.58), (1.0, 1.0, 1.0)))
    one, other = (
        response_of(even_lens(open_f_number=5.6, colours=c), 5.6, "green", position_mm=(15.0, 0.0))
        for c in (colours, smeared)
    )
    f = 0.3
    assert abs(other.along(f, 0.0)) < 0.9 * abs(one.along(f, 0.0))
    assert abs(other.along(0.0, f)) == pytest.approx(abs(one.along(0.0, f)), rel=0.02)
