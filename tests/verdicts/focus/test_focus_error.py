"""Out of focus as a whole: told by GalSim's lenses, in focus and out of it, and never of honest blur."""

import galsim
import numpy as np
import pytest

from lensbench.analysers.edge import FREQUENCY
from lensbench.analysers.focus import measure_focus
from lensbench.findings import (
    Camera,
    ContrastCurve,
    Figure,
    Setting,
    Sharpness,
    TileSharpness,
    ZoneDifference,
    ZoneSharpness,
)
from lensbench.run._setting_warnings import setting_notices
from lensbench.verdicts.focus._error import judge_focus_error
from lensbench.verdicts.limits import judge_limits
from tests.analysers.focus.invented_focus import SHEET, Surface, series
from tests.findings.alter import alter

SIZE, PITCH_UM, F_NUMBER = (6000, 4000), 6.0, 4.0
PLACES = {"centre": (3000.0, 2000.0), "outer top-left": (900.0, 800.0), "corner bottom-right": (5900.0, 3900.0)}
WAVELENGTH_UM = 0.55


def lens(defocus_um=0.0, **aberrations):
    """GalSim's lens (Rowe et al. 2015); Noll's Z4 holds W = δ / (8 N²) as W / (2 √3)."""
    waves = defocus_um / (8 * F_NUMBER**2) / WAVELENGTH_UM / (2 * np.sqrt(3))
    scale = WAVELENGTH_UM * F_NUMBER / PITCH_UM
    return galsim.OpticalPSF(lam_over_diam=scale, defocus=waves, oversampling=2, pad_factor=3, **aberrations)


def curve_of(psf, way=(1.0, 0.0)):
    mtf = [abs(psf.kValue(2 * np.pi * f * way[0], 2 * np.pi * f * way[1])) / psf.flux for f in FREQUENCY]
    return np.array(mtf) * np.sinc(FREQUENCY)


def both_ways(psf):
    """Sagittal and tangential curves, x and y standing for the two."""
    return curve_of(psf, (0.0, 1.0)), curve_of(psf, (1.0, 0.0))


def setting_of(*lenses, f_number=F_NUMBER, pitch_um=PITCH_UM):
    """A setting whose zones have these lenses' curves, with its limits."""
    zones, tiles, astigmatism = [], [], []
    for (name, place), psf in zip(PLACES.items(), lenses, strict=True):
        pair = both_ways(psf)
        for direction, mtf in zip(("sagittal", "tangential", "mean"), (*pair, np.mean(pair, axis=0)), strict=True):
            figure = Figure.of(float(FREQUENCY[np.argmax(mtf < 0.5)]), 0.001, "cy/px")
            bounds = np.clip(mtf - 0.01, 0, None), mtf + 0.01
            curve = ContrastCurve(*(a.tolist() for a in (FREQUENCY, mtf, *bounds)))
            zones.append(ZoneSharpness(name, "grey", direction, figure, None, 1, curve=curve))
        a, b = (zone.mtf50.value for zone in zones[-3:-1])
        percent = Figure.of(200 * (a - b) / (a + b), 1.0, "%")
        astigmatism.append(ZoneDifference(name, "sagittal", "tangential", percent, "grey"))
        tiles.append(TileSharpness(0, 0, "grey", *place, 0.1, figure, figure, True))
    sharpness = Sharpness(zones=zones, tiles=tiles, astigmatism=astigmatism)
    # So far away that marked and effective f-number are one.
    setting = Setting(f_number, magnification=Figure.of(1e-6, 0, "×"), sharpness=sharpness)
    alter(setting, limits=judge_limits(setting, SIZE, pitch_um))
    return setting


def judged(*lenses, f_number=F_NUMBER, pitch_um=PITCH_UM):
    setting = setting_of(*lenses, f_number=f_number, pitch_um=pitch_um)
    return judge_focus_error(setting.sharpness, setting.limits, "grey", pitch_um)


def test_defocus_is_measured_in_the_zone_nearest_to_focus():
    found = judged(lens(90), lens(110), lens(130))
    # 2 λ N² = 17.6 µm is a quarter wave at f/4 (Smith; memory).
    assert found.best_zone == "centre"
    assert found.defocus_um == pytest.approx(90, rel=0.05)
    assert found.depths == pytest.approx(90 / 17.6, rel=0.05)
    assert 25 < found.achieved_percent < 50


def test_one_zone_in_focus_clears_the_shot():
    assert judged(lens(0), lens(150), lens(150)) is None


@pytest.mark.parametrize(
    "aberrations",
    [{}, {"spher": 0.35}, {"coma1": 0.3}, {"spher": 0.2, "coma2": 0.3}, {"astig1": 0.15}],
    ids=lambda given: " ".join(given) or "perfect",
)
def test_honest_blur_at_best_focus_is_no_defocus(aberrations):
    psf = lens(**aberrations)
    assert judged(psf, psf, psf) is None


def test_nothing_is_said_without_aperture_or_pixels():
    psf = lens(120)
    assert judged(psf, psf, psf, f_number=None) is None
    assert judged(psf, psf, psf, pitch_um=None) is None


@pytest.mark.parametrize(("centre_mm", "said"), [(0.02, False), (3.0, True)], ids=["peak inside", "peak beyond"])
def test_a_rail_series_with_its_peak_inside_says_nothing_of_focus(centre_mm, said):
    """The series has been at best focus: the same curves that speak of defocus in one shot are then the lens's."""
    camera = Camera(SIZE, (36.0, 24.0), PITCH_UM)
    setting = setting_of(lens(90), lens(110), lens(130))
    alone, caveats = setting_notices(setting, camera, "grey")
    assert "out-of-focus" in {notice.code for notice in alone}
    assert any("focus" in words for words in caveats)
    alter(setting, focus=measure_focus(series(Surface(centre_mm)), (3000, 2000), PITCH_UM, SHEET))
    notices, caveats = setting_notices(setting, camera, "grey")
    assert ("out-of-focus" in {notice.code for notice in notices}) is said
    assert any("focus" in words for words in caveats) is said
