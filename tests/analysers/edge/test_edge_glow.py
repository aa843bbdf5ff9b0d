"""Edges with a sharp core in a wide glow, and through aberrated and holed pupils: against GalSim's transfers."""

import galsim
import numpy as np
import pytest

from lensbench.analysers.edge import FREQUENCY, measure_edges, tile_edges
from tests import known_edges as known
from tests.analysers.edge.edge_benches import bench, found_on, slants, truth_of
from tests.drawn_lenses import FINE, all_round, along, glowing, waves

JUDGED = (FREQUENCY >= 0.02) & (FREQUENCY <= 0.45)

GLOWS = {
    "gaussian": glowing(0.5, 0.3, galsim.Gaussian(half_light_radius=6.0, gsparams=FINE)),
    "gaussian, wide": glowing(1.4, 0.2, galsim.Gaussian(half_light_radius=13.0, gsparams=FINE)),
    "exponential": glowing(0.6, 0.12, galsim.Exponential(half_light_radius=5.0, gsparams=FINE)),
    "exponential, half of all": glowing(1.0, 0.5, galsim.Exponential(half_light_radius=9.0, gsparams=FINE)),
    "moffat": glowing(0.8, 0.2, galsim.Moffat(beta=3.0, half_light_radius=8.0, gsparams=FINE)),
}
LENSES = {
    "spherical aberration": galsim.OpticalPSF(lam_over_diam=1.6, gsparams=FINE, **waves(0.5, -0.6)),
    "far out of focus": galsim.OpticalPSF(lam_over_diam=1.2, gsparams=FINE, **waves(0.3, 1.0)),
    "holed pupil": galsim.OpticalPSF(lam_over_diam=2.0, obscuration=0.45, gsparams=FINE, **waves(0.4, -0.3)),
    "trefoil and astigmatism": galsim.OpticalPSF(
        lam_over_diam=1.4, trefoil1=0.1, trefoil2=0.05, astig1=0.08, astig2=-0.06, gsparams=FINE
    ),
}
DEGREES = (8.0, 112.0, 217.0)


@pytest.fixture(scope="module", params=GLOWS | LENSES)
def sheets(request):
    """Benches of one edge each through one lens, all round."""
    psf = (GLOWS | LENSES)[request.param]
    return [bench(along(psf, np.radians(d)), [d], 256, 190, seed=int(d)) for d in DEGREES], psf


def true_curve(psf, degrees):
    return np.abs(known.with_pixel(along(psf, np.radians(degrees)), np.radians(degrees))(FREQUENCY))


def test_the_whole_curve_is_that_of_the_lens(sheets):
    made, psf = sheets
    for degrees, sheet in zip(DEGREES, made, strict=True):
        found = sheet.shown(known.MONO, seed=None)["grey"]
        assert np.abs(found.mtf[0] - true_curve(psf, degrees))[JUDGED].max() < 0.01
        if not found.nearly_level[0]:
            assert found.mtf50 == pytest.approx(sheet.mtf50, rel=0.01)


def test_noise_moves_it_by_what_it_says(sheets):
    made, psf = sheets
    sharp, curve = [], []
    for degrees, sheet in zip(DEGREES, made, strict=True):
        truth = true_curve(psf, degrees)
        for seed in range(6):
            for found in sheet.shown(seed=400 + seed).values():
                assert found.measured.all()
                sharp.append((found.mtf50 - sheet.mtf50)[0] / found.mtf50_sigma[0])
                curve.append(np.abs(found.mtf[0] - truth)[JUDGED] < 1.96 * found.mtf_sigma[0, JUDGED])
    assert np.mean(np.abs(sharp) < 1.96) > 0.85
    assert np.abs(sharp).max() < 4.5
    assert np.mean(curve) > 0.85


def steepness_of(transfer):
    mtf50 = known.true_mtf50(transfer)
    low, high = np.abs(transfer(mtf50 * np.array([0.99, 1.01])))
    return (low - high) / 0.02


@pytest.mark.parametrize("name", GLOWS)
def test_a_curve_that_runs_nearly_level_at_half_is_said_to(name):
    made = bench(along(GLOWS[name], np.radians(8.0)), [8.0], 256, 190, seed=8)
    found = made.shown(known.MONO, seed=None)["grey"]
    truth = steepness_of(known.with_pixel(along(GLOWS[name], np.radians(8.0)), np.radians(8.0)))
    assert found.steepness[0] == pytest.approx(truth, rel=0.05)
    assert found.nearly_level[0] == (truth < 0.35)


def test_a_gaussian_blur_has_the_handbook_steepness():
    # MTF = exp(-2π²s²f²): at the half, f |dMTF/df| = 2 · 0.5 · ln 2.
    found = bench(known.gaussian(3.0), [8.0], 320, 230).shown(known.MONO, seed=None)["grey"]
    assert found.steepness[0] == pytest.approx(np.log(2), rel=0.01)
    assert not found.nearly_level[0]


@pytest.mark.parametrize("name", ["gaussian", "exponential", "moffat"])
def test_the_glow_round_whole_tiles_is_told_from_the_light_of_their_other_edges(name):
    transfer = all_round(GLOWS[name])
    sheet = known.tile_sheet(transfer, 2, 2, seed=5)
    places = tile_edges(found_on(sheet))
    truth = truth_of(places, transfer)
    clean = measure_edges(known.expose(sheet.light, known.MONO, seed=None), places, threads=1)["grey"]
    assert clean.mtf50 == pytest.approx(truth, rel=0.01)
    angles = np.arctan2(places.normal[:, 1], places.normal[:, 0])
    curves = np.array([np.abs(known.with_pixel(transfer, angle)(FREQUENCY)) for angle in angles])
    assert np.abs(clean.mtf - curves)[:, JUDGED].max() < 0.01
    inside = []
    for found in measure_edges(known.expose(sheet.light, seed=41), places, threads=1).values():
        assert found.measured.all()
        inside.extend(np.abs(found.mtf50 - truth) < 1.96 * found.mtf50_sigma)
    assert np.mean(inside) > 0.8


def test_steep_or_level_the_rise_has_an_interval_of_its_own():
    inside = []
    for blur in (known.gaussian(0.8), all_round(GLOWS["gaussian"]), all_round(GLOWS["exponential"])):
        made = bench(blur, slants(12, seed=6), 256, 190, seed=6)
        for found in made.shown(seed=43).values():
            for k in np.flatnonzero(found.measured):
                at = np.linspace(-60, 60, 24001)
                level = known.profile(known.with_pixel(blur, made.scene.angle[k]))(at)
                rise = np.ptp(np.interp([0.1, 0.9], level, at))
                inside.append(abs(found.rise_px[k] - rise) < 1.96 * found.rise_sigma_px[k])
    assert np.mean(inside) > 0.88
