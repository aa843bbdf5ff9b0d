"""Response, MTF50 and half crossings, against closed forms."""

import numpy as np
import pytest
from scipy.optimize import brentq

from lensbench.simulator.response import Response, Surround, half_crossing_px, mtf50_along
from tests.simulator.benches import even_lens, gaussian_lens, response_of

WAYS = np.stack([np.cos(np.arange(7) * 0.4), np.sin(np.arange(7) * 0.4)], axis=-1)


@pytest.mark.parametrize("sigma", [0.3, 0.5, 1.0, 3.0, 12.0])
def test_gaussian(sigma):
    """0.18739 / σ (closed form)."""
    _, lens = mtf50_along(response_of(gaussian_lens(sigma), 8.0), WAYS)
    assert lens == pytest.approx(0.187390 / sigma, rel=5e-6)


def test_pixel():
    """0.6366 at the Nyquist frequency on the axis (closed form); half at 0.6034 cy/px, where sin x / x is ½."""
    response = Response(Surround(None), None)
    assert response.along(0.5, 0.0).real == pytest.approx(0.6366, abs=5e-5)
    whole, lens = mtf50_along(response, np.array([[1.0, 0.0], [0.0, 1.0]]))
    assert whole == pytest.approx(brentq(lambda x: np.sin(x) / x - 0.5, 1, 3) / np.pi, rel=1e-6)
    assert np.isnan(lens).all()


def test_perfect_lens():
    """91.8 lp/mm at 550 nm, f/8 (Goodman; memory): u = 0.4040."""
    _, lens = mtf50_along(response_of(even_lens(open_f_number=8.0), 8.0), WAYS)
    assert lens / 0.006 == pytest.approx(91.8, abs=0.05)


def test_shake_is_a_box_along_its_way():
    response = response_of(gaussian_lens(0.0), 8.0, motion_px=(6.0, 0.0))
    assert response.along(1 / 12, 0.0, pixel=False).real == pytest.approx(2 / np.pi, abs=1e-6)
    assert response.along(0.0, 0.3, pixel=False).real == pytest.approx(1.0)


def test_half_lies_on_the_edge_where_blur_is_even():
    response = response_of(
        even_lens(open_f_number=4.0, spherical_um=2.0, astigmatism_um=1.0), 4.0, defocus_mm=0.05
    )
    assert half_crossing_px(response, WAYS) == pytest.approx(0, abs=1e-6)


def test_half_of_a_lopsided_blur():
    """Coma's rays fall on 60° of a fan: the line spread of the geometrical figure, summed ray by ray, says where
    half of the light lies; diffraction at f/2 shifts it little."""
    lens = even_lens(open_f_number=2.0, axial_coma_um=(12.0, 0.0))
    found = half_crossing_px(response_of(lens, 2.0), np.array([[1.0, 0.0]]))[0]
    axis = (np.arange(1200) + 0.5) / 600 - 1
    x, y = np.meshgrid(axis, axis)
    # The gradient of C (x² + y²) x, 2N of it on the sensor, for rays over an even pupil.
    rays = (2 * 2.0 * 12.0 * (3 * x**2 + y**2) / 6.0)[x**2 + y**2 <= 1]
    # An edge, light on the outer side, gives half where as many rays land on either side.
    assert found == pytest.approx(np.median(rays), rel=0.03)
