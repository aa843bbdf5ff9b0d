"""Slanted edges that GalSim draws: turned boxes through Gaussian, perfect and aberrated lenses, on square pixels.

GalSim: the modular galaxy image simulation toolkit, Rowe et al., Astronomy and Computing 10 (2015) 121. The truth
is its own transfer function (`kValue`) along the edge's normal, times the square pixel's.
"""

import galsim
import numpy as np
import pytest
from scipy.optimize import brentq

from lensbench.analysers.edge import FREQUENCY, blade_places, measure_edges, unfollowed_contrast
from lensbench.shot import Shot

STAMP = 160
DIRECTIONS_DEG = (-84.1, 140.6)
FINE = galsim.GSParams(folding_threshold=2e-3, maxk_threshold=5e-4, maximum_fft_size=16384)

LENSES = {
    "gaussian, sharp": (galsim.Gaussian(sigma=0.6, gsparams=FINE), 0.005),
    "gaussian": (galsim.Gaussian(sigma=1.3, gsparams=FINE), 0.005),
    "gaussian, soft": (galsim.Gaussian(sigma=3.0, gsparams=FINE), 0.005),
    "perfect": (galsim.Airy(lam_over_diam=2.2, gsparams=FINE), 0.01),
    "coma": (galsim.OpticalPSF(lam_over_diam=1.6, coma1=0.12, coma2=0.06, gsparams=FINE), 0.01),
    "defocus": (galsim.OpticalPSF(lam_over_diam=1.6, defocus=0.2, gsparams=FINE), 0.01),
    "obscured": (galsim.OpticalPSF(lam_over_diam=2.0, obscuration=0.35, gsparams=FINE), 0.01),
}


def normal_of(degrees):
    return np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])


def drawn(psf, offset):
    """Stamps in a row, each with a straight edge `offset` px from its middle, bright towards its normal."""
    stamps = []
    for degrees in DIRECTIONS_DEG:
        box = galsim.Box(2 * STAMP, 3 * STAMP, flux=6.0 * STAMP**2, gsparams=FINE).rotate(degrees * galsim.degrees)
        sheet = galsim.Convolve(box.shift(*(normal_of(degrees) * (STAMP + offset))), psf, gsparams=FINE)
        stamps.append(sheet.drawImage(nx=STAMP, ny=STAMP, scale=1.0, dtype=float).array)
    return np.concatenate(stamps, axis=1)


def places():
    middle = np.array([(STAMP * (k + 0.5) - 0.5, STAMP / 2 - 0.5) for k in range(len(DIRECTIONS_DEG))])
    normal = np.array([normal_of(d) for d in DIRECTIONS_DEG])
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    ends = middle[:, None] + along[:, None] * np.array([-55.0, 55.0])[None, :, None]
    return blade_places(ends, normal, 56.0)


def true_contrast(psf, degrees, frequency):
    """GalSim's transfer function at cycles a pixel along a normal, through the pixel."""
    x, y = normal_of(degrees) * frequency
    return abs(psf.kValue(2 * np.pi * x, 2 * np.pi * y)) / psf.flux * abs(np.sinc(x) * np.sinc(y))


@pytest.fixture(scope="module", params=LENSES)
def seen(request):
    psf, _ = LENSES[request.param]
    sheet = drawn(psf, 0.37)
    light = 500 + 12000 * (0.04 + 0.96 * sheet)
    shot = Shot(
        "drawn",
        light.astype(np.float32),
        np.zeros((1, 1), np.uint8),
        ("grey",),
        np.array([500.0]),
        15000.0,
        np.ones(1),
    )
    return request.param, measure_edges(shot, places(), threads=1)["grey"], sheet


def test_mtf50_is_that_of_the_lens_that_drew_it(seen):
    lens, found, _ = seen
    psf, bar = LENSES[lens]
    for degrees, mtf50 in zip(DIRECTIONS_DEG, found.mtf50, strict=True):
        truth = brentq(lambda f, d=degrees: true_contrast(psf, d, f) - 0.5, 0.01, 0.6)
        assert mtf50 == pytest.approx(truth, rel=bar)


def test_the_curve_is_that_of_the_lens_that_drew_it(seen):
    lens, found, _ = seen
    psf, bar = LENSES[lens]
    some = FREQUENCY < 0.5
    for k, degrees in enumerate(DIRECTIONS_DEG):
        error = found.mtf[k, some] - [true_contrast(psf, degrees, f) for f in FREQUENCY[some]]
        assert np.sqrt(np.mean(error**2)) < bar
        # There is no noise: what is off is what the profile can't follow, and the interval of zones says so.
        unsure = np.hypot(found.mtf_sigma[k, some], unfollowed_contrast(FREQUENCY[some]))
        assert np.all(np.abs(error) <= 1.96 * unsure + 1e-3)


def test_the_edge_lies_where_it_was_drawn(seen):
    lens, found, _ = seen
    if lens == "coma":
        # A lopsided spot has no one place; the flare draws the half-way point along, by as much as it faces it.
        assert np.ptp(found.offset_px) > 0.1
    else:
        assert found.offset_px == pytest.approx(0.37, abs=0.005)


def test_the_rise_is_that_of_the_picture_itself(seen):
    """Without noise the pixels' own values, in the order of their distance from the edge, are its profile."""
    lens, found, sheet = seen
    y, x = np.mgrid[:STAMP, :STAMP] - (STAMP - 1) / 2
    for k, degrees in enumerate(DIRECTIONS_DEG):
        across = normal_of(degrees)[0] * x + normal_of(degrees)[1] * y
        level = sheet[:, k * STAMP : (k + 1) * STAMP]
        reached = []
        for wanted in (0.1, 0.9):
            near = np.abs(level - wanted) < 0.03
            reached.append(np.polyval(np.polyfit(level[near], across[near], 2), wanted))
        # A tail's last faint part is followed less well than the middle, on which MTF50 hangs.
        assert found.rise_px[k] == pytest.approx(reached[1] - reached[0], rel=2 * LENSES[lens][1])
        assert found.overshoot[k] < 0.005
