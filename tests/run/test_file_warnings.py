"""Files and entries that contradict what their samples show: named, with what to do."""

from types import SimpleNamespace

import numpy as np
import pytest

from lensbench.analysers.photon_transfer import assess_noise
from lensbench.analysers.shot_quality import is_mosaic_displaced
from lensbench.findings import Figure, Linearity
from lensbench.run._noise_warnings import linearity_notices, noise_notices
from lensbench.run._session_warnings import aperture_notices, ruler_notices
from lensbench.run._stored_anew import is_stored_anew, thin_sample
from lensbench.shot import Shot
from tests.analysers.photon_transfer.test_photon_transfer import blocks


@pytest.fixture(scope="module")
def exposures():
    """Two exposures of one light, falling off to the right."""
    rng = np.random.default_rng(11)
    light = np.linspace(9000, 3000, 300)[None, :] * np.ones((200, 1))
    return [rng.poisson(light).astype(np.uint16) for _ in range(2)]


def test_one_exposure_stored_with_other_numbers_is_known_again(exposures):
    first, second = (thin_sample(Shot.from_array(samples)) for samples in exposures)
    other_black, rounded = first * 4 + 700, np.rint(first / 4) + 64
    assert is_stored_anew(first, other_black)
    assert is_stored_anew(rounded, first)
    assert not is_stored_anew(first, second)
    assert not is_stored_anew(first, first[:, 1:])


def test_a_mosaic_that_begins_a_column_later():
    """Red, green and blue of a sensor under daylight (common practice: green has most)."""
    rng = np.random.default_rng(12)
    colours = np.tile([[4000, 8000], [7900, 5500]], (100, 150))
    samples = rng.poisson(colours).astype(np.uint16)
    assert not is_mosaic_displaced(Shot.from_array(samples, 0, 16000, "RGGB"))
    for pattern in ("GRBG", "GBRG"):
        assert is_mosaic_displaced(Shot.from_array(samples, 0, 16000, pattern))
    assert not is_mosaic_displaced(Shot.from_array(samples, 0, 16000))


@pytest.mark.parametrize(("measured", "said"), [((150.2, 99.9), 0), ((165, 110), 1), ((142.5, 95), 1)])
def test_bars_that_say_that_the_sheet_is_scaled(measured, said):
    session = SimpleNamespace(target=SimpleNamespace(rulers_measured_mm=measured))
    layout = SimpleNamespace(rulers_mm=(150.0, 100.0), pitch_mm=20.0)
    notices = list(ruler_notices(session, layout))
    assert [notice.code for notice in notices] == ["rulers"] * said
    if measured[0] == 165:
        assert "10.0 % larger" in notices[0].text
        assert "22.00 mm" in notices[0].text


def test_an_f_number_that_the_camera_contradicts():
    shots = [
        SimpleNamespace(file=name, f_number=f) for name, f in (("a.dng", 32.0), ("b.dng", 5.6), ("c.dng", None))
    ]
    facts = [SimpleNamespace(file=name, f_number=5.6) for name in ("a.dng", "b.dng", "c.dng")]
    (notice,) = aperture_notices(SimpleNamespace(shots=shots), facts)
    assert (notice.code, notice.shot) == ("other-aperture", "a.dng")


def test_what_the_noise_contradicts_is_said():
    """The black level stated 200 too low, of 15,000."""
    (notice,) = noise_notices(assess_noise(blocks(black=312)), "a.dng")
    assert notice.code == "black-level"
    assert "higher than the file states" in notice.text
    assert list(noise_notices(assess_noise(blocks()), "a.dng")) == []
    assert list(noise_notices(None, "a.dng")) == []


@pytest.mark.parametrize(
    ("percent", "half_width", "said"), [(1.0, 0.3, 1), (-1.0, 0.3, 1), (0.4, 0.1, 0), (1.0, 0.6, 0)]
)
def test_a_curve_is_said_only_where_it_is_sure(percent, half_width, said):
    linearity = Linearity(["a.dng", "b.dng"], Figure.of(percent, half_width, "%"))
    assert [notice.code for notice in linearity_notices(linearity)] == ["tone-curve"] * said
