"""A short gauntlet: shots that mislead are refused or warned of by their cause; the long one is a bench script."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from lensbench.analysers.edge import rough_line_spreads
from lensbench.analysers.shot_quality import FAR_PX, find_bands, find_double_image, find_lit_black
from lensbench.run._shot_warnings import double_image_ruins, seen_twice, sign_caveats, sign_notices
from tests import spoiled_shots as shots
from tests.spoiled_shots import taken


def second_image(seen, change=None):
    """What is found of a second image after something was done to the stored light."""
    shot = seen.shot if change is None else changed(seen, change)
    return find_double_image(rough_line_spreads(shot, "grey", seen.places, FAR_PX), shots.SIZE)


def changed(seen, change):
    """The shot with its light over black changed."""
    black = seen.shot.black[0]
    samples = np.clip(np.rint(change(seen.shot.samples - float(black)) + black), 0, seen.shot.white)
    return replace(seen.shot, samples=samples.astype(np.uint16))


def twice(dx, dy, share):
    """The picture beside itself: light of two exposures adds up."""
    return lambda light: (1 - share) * light + share * ndimage.shift(light, (dy, dx), order=3, mode="nearest")


# y is down, so (9, -5) lies up to the right.
@pytest.mark.parametrize(("move", "share"), [((9, -5), 0.5), ((-14, 3), 0.35), ((0, 18), 0.2)])
def test_a_shot_with_two_images_is_ruined(move, share):
    seen = taken("plain")
    double = second_image(seen, twice(*move, share))
    assert min(np.hypot(*np.add(double.shift_px, sign * np.array(move))) for sign in (-1, 1)) < 1.5
    assert double.share < share + 0.05
    signs = replace(seen.signs(), double_image=double)
    assert double_image_ruins(signs)
    assert f"twice, {double.length_px:.0f} px apart" in seen_twice(double)


def test_a_faint_second_image_is_warned_of():
    seen = taken("plain")
    signs = replace(seen.signs(), double_image=second_image(seen, twice(9, 6, 0.03)))
    assert not double_image_ruins(signs)
    (notice,) = sign_notices(signs, "t.dng")
    assert notice.code == "double-image"
    assert "glass before the sheet" in notice.text
    assert sign_caveats(signs) == ["a second image"]


def test_a_twisted_camera_is_told_from_a_moved_one():
    def twisted(light):
        return (light + ndimage.rotate(light, 1.0, reshape=False, order=3, mode="nearest")) / 2

    double = second_image(taken("plain"), twisted)
    # A degree at the corners of 1200 × 800.
    assert abs(double.turned_px - np.radians(1) * np.hypot(600, 400)) < 2
    assert "px at the corners" in seen_twice(double)


def test_the_tail_of_coma_is_no_second_image():
    assert second_image(taken("skew", f_number=2.8)) is None


def test_too_few_edges_tell_nothing():
    seen = taken("plain")
    spreads = rough_line_spreads(seen.shot, "grey", seen.places.take(np.arange(20)), FAR_PX)
    assert find_double_image(spreads, shots.SIZE) is None


@pytest.mark.parametrize(("upright", "what"), [(False, "rows apart"), (True, "columns apart")])
def test_bands_of_a_flickering_lamp_are_named(upright, what):
    """Gain of rows (columns) of a lamp that flickers in the time of so many of them."""

    def flickering(light):
        wave = 1 + 0.025 * np.sin(2 * np.pi * np.arange(light.shape[upright]) / 230)
        return light * (wave if upright else wave[:, None])

    seen = taken("plain")
    bands = find_bands(changed(seen, flickering), "grey")
    assert bands.upright is upright
    assert bands.depth == pytest.approx(0.05, abs=0.02)
    assert bands.period_px == pytest.approx(230, rel=0.3)
    signs = replace(seen.signs(), bands=bands)
    (notice,) = sign_notices(signs, "t.dng")
    assert notice.code == "uneven-light"
    assert what in notice.text
    assert sign_caveats(signs) == ["bands of light"]


def test_neither_falloff_nor_a_lamp_at_one_side_is_banded():
    def dim(light):
        y, x = np.mgrid[-1 : 1 : light.shape[0] * 1j, -1 : 1 : light.shape[1] * 1j]
        return light * (1 + 0.25 * x - 0.2 * y) / (1 + 0.3 * (x**2 + y**2)) ** 4 / 1.3

    assert find_bands(changed(taken("plain"), dim), "grey") is None


def test_a_lamp_mirrored_by_the_sheet_is_placed():
    """Light laid over a patch at the left raises its black alike, whatever falls on the rest."""
    seen = taken("plain")
    assert seen.signs().lit_black is None
    near = np.hypot(seen.grey.x - 250, seen.grey.y - 400) < 160
    added = np.where(near, 0.2 * np.nanmedian(seen.grey.white), 0.0)
    lit = find_lit_black(replace(seen.grey, dark=seen.grey.dark + added, white=seen.grey.white + added))
    assert lit.most - lit.usual > 0.12
    (notice,) = sign_notices(replace(seen.signs(), lit_black=lit), "t.dng")
    assert "left, elsewhere" in notice.text
