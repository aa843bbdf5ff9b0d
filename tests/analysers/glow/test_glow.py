"""Glow against shares in closed form or integrated from GalSim's profiles, and none where there is none.

GalSim: the modular galaxy image simulation toolkit, Rowe et al., Astronomy and Computing 10 (2015) 121.
"""

import galsim
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr

from lensbench.analysers.edge import TAIL_STEPS, measure_edges
from lensbench.analysers.glow import measure_glow
from lensbench.analysers.glow._diffraction import diffraction_tails
from tests import known_edges as known
from tests.bench.glow_share import Lens, Truth
from tests.bench.glow_sheets import free_edges, tiles
from tests.drawn_lenses import FINE

PITCH_UM = 4.0


def f_number(scale_px):
    """Of a lens whose wavelength, 0.55 µm for green, times f-number is so many pixels."""
    return scale_px * PITCH_UM / 0.55


def seen(psf, scale_px=None, draw=tiles, seed=3):
    """The whole frame's glow, and the finding; without a scale the aperture counts as unknown."""
    sheet = draw(psf, 41)
    found = measure_edges(sheet.shot(0.75, seed), sheet.places, ["green"])
    effective = None if scale_px is None else f_number(scale_px)
    glow = measure_glow([found], sheet.light.shape[::-1], PITCH_UM, effective)
    return glow.zones[0], glow


def airy(scale_px):
    return galsim.Airy(lam_over_diam=scale_px, gsparams=FINE)


@pytest.mark.parametrize("draw", [tiles, free_edges])
@pytest.mark.parametrize(
    "glow",
    [
        galsim.Gaussian(half_light_radius=8, gsparams=FINE),
        galsim.Exponential(half_light_radius=6, gsparams=FINE),
        galsim.Moffat(beta=3, half_light_radius=10, gsparams=FINE),
    ],
)
def test_the_share_and_its_width_are_the_integrated_ones(glow, draw):
    scale = 0.5
    bare = galsim.Convolve(airy(scale), galsim.Gaussian(sigma=0.7, gsparams=FINE))
    whole = 0.85 * bare + 0.15 * galsim.Convolve(airy(scale), glow)
    frame, found = seen(whole, scale, draw)
    truth = Truth(Lens(whole, bare, scale))
    true = 100 * truth.share(found.reach_px)
    assert frame.glow_percent.low <= true <= frame.glow_percent.high
    assert frame.glow_percent.value == pytest.approx(true, abs=0.3)
    assert frame.from_px == pytest.approx(3 * truth.quartile, rel=0.02)
    assert frame.width_px.low <= truth.width(found.reach_px) <= frame.width_px.high
    assert frame.width_um.value == pytest.approx(PITCH_UM * frame.width_px.value)
    assert found.diffraction_from == "f-number"


def test_two_gaussian_blurs_in_closed_form():
    """A tenth of the light in a blur of 9 px; no diffraction (f/0.4), so all of it counts."""
    core, wide, share = np.sqrt(1.5**2 + 1 / 12), np.sqrt(9**2 + 1 / 12), 0.1

    def within(z):
        return (1 - share) * (2 * ndtr(z / core) - 1) + share * (2 * ndtr(z / wide) - 1)

    psf = 0.9 * galsim.Gaussian(sigma=1.5, gsparams=FINE) + 0.1 * galsim.Gaussian(sigma=9, gsparams=FINE)
    frame, found = seen(psf, 0.05)
    quartile = 2 * brentq(lambda z: within(z) - 0.5, 0.1, 9)
    true = 100 * (1 - within(3 * quartile) / within(found.reach_px))
    assert frame.glow_percent.value == pytest.approx(true - frame.diffraction_percent.value, abs=0.2)
    assert frame.diffraction_percent.value < 0.2


@pytest.mark.parametrize(
    ("psf", "scale"),
    [
        (airy(0.5), 0.5),
        (airy(1.4), 1.4),
        (galsim.OpticalPSF(lam_over_diam=0.8, defocus=0.15, gsparams=FINE), 0.8),
        (galsim.OpticalPSF(lam_over_diam=0.8, defocus=0.4, gsparams=FINE), 0.8),
        (galsim.Convolve(airy(0.7), galsim.Gaussian(sigma=1.0)), 0.7),
        (galsim.Gaussian(sigma=1.2, gsparams=FINE), None),
        (airy(1.4), None),
    ],
)
def test_diffraction_defocus_and_plain_blur_are_no_glow(psf, scale):
    frame, found = seen(psf, scale)
    assert frame.glow_percent.low <= 0
    assert frame.width_px is None
    if scale is not None:
        assert frame.glow_percent.high < 0.8
    else:
        assert found.diffraction_from == "not known"
        assert "session.toml" in found.notes[0]


def test_glow_by_zone_is_that_of_the_zone():
    """Without glow above, with glow below: the zones of either half say so."""
    bare, hazy = airy(0.5), 0.8 * airy(0.5) + 0.2 * galsim.Exponential(half_light_radius=6, gsparams=FINE)
    clear, glowing = (tiles(psf, 41) for psf in (bare, hazy))
    half = clear.light.shape[0] // 2
    light = np.concatenate([clear.light[:half], glowing.light[half:]])
    found = measure_edges(known.expose(0.75 * light, seed=4), clear.places, ["green"])
    glow = measure_glow([found], light.shape[::-1], PITCH_UM, f_number(0.5))
    above = [zone for zone in glow.zones if zone.zone.split()[-1].startswith("top")]
    below = [zone for zone in glow.zones if zone.zone.split()[-1].startswith("bottom")]
    assert above
    assert below
    assert max(zone.glow_percent.high for zone in above) < 2
    assert min(zone.glow_percent.low for zone in below) > 5


@pytest.mark.parametrize("scale", [0.4, 1.0, 2.0])
def test_diffraction_s_tails_fall_as_the_closed_form_says(scale):
    """Far out a perfect lens's edge lacks 2 λN / (π³ z) on each side: its MTF falls by 4 λN f / π at first
    (Goodman, Introduction to Fourier Optics, ch. 6; memory, integrated by parts)."""
    width = 3 * scale
    distance = TAIL_STEPS[6:] * width
    tail = diffraction_tails(scale, width, width).at(np.array([width])).share[0, 6:]
    assert tail == pytest.approx(4 * scale / (np.pi**3 * distance), rel=0.03)


@pytest.mark.parametrize(("scale", "waves"), [(0.5, 0.2), (1.0, 0.1), (1.0, 0.4), (1.5, 0.2)])
def test_defocus_puts_more_light_just_beyond_an_edge_than_a_gaussian_blur(scale, waves):
    """As in GalSim's lens so far out of focus; farther out it is as much (GalSim's own tails end there)."""
    psf = galsim.OpticalPSF(lam_over_diam=scale, defocus=waves, gsparams=FINE)
    truth = Truth(Lens(psf, psf, scale))
    width = np.array([truth.quartile])
    tails = diffraction_tails(scale, *width, *width).at(width)
    seen = [1 - truth.within(step * truth.quartile) for step in TAIL_STEPS[:2]]
    assert (tails.share + tails.more)[0, :2] == pytest.approx(seen, rel=0.015)
    assert tails.share[0, 0] < 0.95 * seen[0]
    assert tails.more[0, 4] < 0.01 * tails.share[0, 4]


@pytest.mark.parametrize("scale", [0.5, 1.0])
def test_what_diffraction_does_is_what_it_does_to_the_core(scale):
    """Glow makes edges wider, so a blur as wide as these would be wider than the lens's without its glow."""
    share = 0.35
    bare = galsim.Convolve(airy(scale), galsim.Gaussian(sigma=0.7, gsparams=FINE))
    glow = galsim.Convolve(airy(scale), galsim.Gaussian(half_light_radius=12, gsparams=FINE))
    frame, found = seen((1 - share) * bare + share * glow, scale)
    truth = Truth(Lens((1 - share) * bare + share * glow, bare, scale))
    assert frame.diffraction_percent.value == pytest.approx(100 * truth.diffraction(found.reach_px), rel=0.01)


def test_no_edges_no_glow():
    sheet = tiles(airy(0.5), 41)
    found = measure_edges(sheet.shot(0.75, 3), sheet.places, ["green"])
    none = {"green": found["green"].take(np.zeros(len(sheet.places), bool))}
    assert measure_glow([none], (100, 100)) is None
