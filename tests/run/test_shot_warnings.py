"""Signs of what is not the lens's doing: each is seen where it was made, and none in honest lenses' shots."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from lensbench.analysers.shot_quality import EdgeAsymmetry
from lensbench.run._noise_warnings import noise_caveats, target_noise_notices
from lensbench.run._shot_warnings import exposure_notices, sign_caveats, sign_notices, way_in_words
from lensbench.simulator.scene import Print
from tests import spoiled_shots as shots
from tests.spoiled_shots import afterwards, taken


def said(seen, name="t.dng"):
    return {notice.code: notice.text for notice in notices_of(seen, name)}


def notices_of(seen, name="t.dng"):
    signs = seen.signs()
    return [*sign_notices(signs, name), *target_noise_notices(seen.noise(), signs, name)]


@pytest.mark.parametrize("lens", shots.LENSES)
def test_honest_lenses_are_not_accused(lens):
    seen = taken(lens)
    signs = seen.signs()
    assert [*sign_caveats(signs), *noise_caveats(seen.noise())] == []
    assert notices_of(seen) == []
    assert signs.raggedness_px is None


def test_nor_is_a_dim_shot():
    assert said(taken("comatic", exposure=0.08)) == {}


# -- motion ---------------------------------------------------------------------------------------------------


# Even motion over L px blurs by a box; y is down, so (1.5, -1.2) runs up to the right at 38.7°.
@pytest.mark.parametrize(
    ("lens", "motion", "way"),
    [
        ("comatic", (1.5, -1.2), "from bottom left to top right"),
        ("decentred", (0.4, 3), "up and down"),
    ],
)
def test_motion_is_seen_with_its_way_and_length(lens, motion, way):
    seen = taken(lens, motion_px=motion)
    found = seen.signs().motion
    angle = np.degrees(np.arctan2(-motion[1], motion[0])) % 180
    off = (found.angle_deg - angle + 90) % 180 - 90
    # The lens's own blur leans too; its share is not taken off.
    assert abs(off) < 6
    # The length is that of a box on a Gaussian with the same MTF50s; through pixel and pupil it reads long.
    assert 0.9 < found.length_px / np.hypot(*motion) < 1.25
    text = said(seen)["motion"]
    assert f"alike {way}" in text
    assert f"{found.length_px:.1f} px" in text
    assert "release with a delay" in text
    assert f"motion of about {found.length_px:.1f} px" in sign_caveats(seen.signs())


def test_three_rests_are_motion_though_no_more_symmetric_than_coma():
    # Half, three and two tenths of the exposure at (0, 0), (6, 1.2) and (2.4, 5.4): light adds up.
    rests = ((0.5, 0.0, 0.0), (0.3, 6.0, 1.2), (0.2, 2.4, 5.4))

    def moved(light):
        return sum(share * ndimage.shift(light, (dy, dx), order=3, mode="nearest") for share, dx, dy in rests)

    seen = afterwards(taken("plain"), moved)
    assert "alike" in said(seen)["motion"]
    # Half as asymmetric again it would pass for coma, but for the contrast that returns.
    signs = seen.signs()
    asymmetry = tuple(1.5 * part for part in signs.asymmetry.directional)
    assert not signs.motion.is_coma(asymmetry)
    assert replace(signs.motion, rebound=0.02).is_coma(asymmetry)


def test_ways_in_words():
    assert way_in_words(3) == way_in_words(178) == "sideways"
    assert way_in_words(92) == "up and down"
    # Anticlockwise as seen from x right: 45° runs up to the right.
    assert way_in_words(45) == "from bottom left to top right"
    assert way_in_words(135) == "from top left to bottom right"


# -- what a converter does ------------------------------------------------------------------------------------


def test_sharpening_is_seen_by_its_overshoot():
    # Light adds up: a line spread is nowhere negative, so an edge's profile never passes its plateaus.
    assert taken("plain").signs().overshoot < 0.001
    seen = afterwards(taken("plain"), shots.sharpened)
    text = said(seen)["sharpened"]
    assert "no lens does" in text
    assert f"{100 * seen.signs().overshoot:.0f} %" in text
    assert np.nanmedian(seen.grey.mtf50) > 1.15 * np.nanmedian(taken("plain").grey.mtf50)


@pytest.mark.parametrize("lens", ["comatic", "decentred"])
def test_a_tone_curve_is_seen(lens):
    seen = afterwards(taken(lens), shots.curved)
    assert 'encoding = "srgb"' in said(seen)["tone-curve"]
    assert "a tone curve" in [*sign_caveats(seen.signs()), *noise_caveats(seen.noise())]


def test_a_mild_curve_is_seen_by_blacks_noise():
    seen = afterwards(taken("comatic"), lambda light: np.clip(light, 0, 1) ** (1 / 1.4))
    assert seen.noise().line.read_electrons > 40
    assert [notice.code for notice in notices_of(seen)] == ["tone-curve"]
    assert "a tone curve was applied" in said(seen)["tone-curve"]
    assert noise_caveats(seen.noise()) == ["a tone curve"]


def test_a_curve_that_edges_and_noise_show_is_said_once():
    seen = afterwards(taken("plain"), shots.curved)
    assert seen.noise().curved
    signs = replace(seen.signs(), asymmetry=EdgeAsymmetry(0.02, (0.0, 0.0)))
    (notice,) = [*sign_notices(signs, "t.dng"), *target_noise_notices(seen.noise(), signs, "t.dng")]
    assert (notice.code, "2.0 % lighter" in notice.text) == ("tone-curve", True)


@pytest.mark.parametrize("change", [shots.denoised, shots.resampled])
def test_shared_noise_is_seen(change):
    seen = afterwards(taken("comatic"), change)
    assert [notice.code for notice in notices_of(seen)] == ["noise-reduced"]
    assert "share their noise" in said(seen)["noise-reduced"]
    assert noise_caveats(seen.noise()) == ["noise reduction or resampling"]


def test_how_much_of_its_noise_a_resampled_shot_shares():
    """Half a sample on, straight between samples, so that neighbours have one of two samples in common."""
    _, shared = afterwards(taken("comatic"), shots.resampled).noise().filtered
    assert shared.correlation == pytest.approx(0.5, abs=4 * shared.sigma)
    assert shared.sigma < 0.015


def test_too_little_noise_is_seen():
    rng = np.random.default_rng(5)
    seen = taken("comatic")

    def quieter(light):
        # Every sample for itself drawn towards the mean of a wide field, so that neighbours share nothing.
        even = np.abs(light - np.median(light)) < 0.04
        return np.where(even, np.median(light) + 0.0008 * rng.standard_normal(light.shape), light)

    assert "thousand electrons" in said(afterwards(seen, quieter))["noise-reduced"]


# -- print ----------------------------------------------------------------------------------------------------


def test_a_ragged_print_is_measured():
    seen = taken("plain", print=Print(raggedness_mm=0.02, dot_mm=0.1))
    true = 0.02 * shots.MAGNIFICATION / (shots.PITCH_UM / 1000)
    # What is finer than the lens's own blur is averaged away before: a lower bound.
    assert 0.7 * true < seen.signs().raggedness_px.value < 1.02 * true


# -- exposure -------------------------------------------------------------------------------------------------


def test_clipped_and_dark_shots_say_how_much():
    seen = taken("plain")
    grey = seen.grey
    some = replace(grey, reason=np.where(np.arange(len(grey)) < 5, "clipped", grey.reason))
    (notice,) = exposure_notices(seen.shot, "t.dng", {"grey": some})
    assert notice.text == f"t.dng: 5 of {len(grey)} edges are clipped (white at 100 %). Expose 2/3 stop less."
    dim = replace(grey, white=grey.white * 0.08)
    (notice,) = exposure_notices(seen.shot, "t.dng", {"grey": dim})
    assert "white at 6 %" in notice.text
    assert "Expose 4 stops more" in notice.text
    assert list(exposure_notices(seen.shot, "t.dng", {"grey": grey})) == []
