"""sRGB after IEC 61966-2-1, and embedded profiles, made by LittleCMS (through imagecodecs)."""

import imagecodecs
import numpy as np
import pytest
from skimage.color import rgb2xyz

from lensbench.errors import BenchError
from lensbench.loaders.encoding import (
    EncodingUnknown,
    decode_srgb,
    encoding_of_profile,
    known_encoding,
    profile_name,
)

REC_709 = {"whitepoint": (0.3127, 0.329, 1.0), "primaries": (0.64, 0.33, 1.0, 0.3, 0.6, 1.0, 0.15, 0.06, 1.0)}
"""White and colours of sRGB after IEC 61966-2-1, x, y, Y: a profile needs some."""


def rgb_profile(**curve):
    return imagecodecs.cms_profile("rgb", **REC_709, **curve)


def profile_with_table(light):
    return rgb_profile(transferfunction=(np.asarray(light) * 65535).astype(np.uint16))


@pytest.mark.parametrize(("coded", "light"), [(128, 0.21586), (188, 0.50289), (10, 0.0030353), (0, 0), (255, 1)])
def test_values_of_the_standard(coded, light):
    """IEC 61966-2-1: 128/255 is 0.21586, 188/255 is 0.50289, 10/255 is 0.0030353."""
    assert decode_srgb(np.array([coded], np.uint8))[0] == pytest.approx(light, rel=2e-5)
    assert decode_srgb(np.array([coded * 257], np.uint16))[0] == pytest.approx(light, rel=2e-5)
    assert decode_srgb(np.array([coded * 16843009], np.uint32))[0] == pytest.approx(light, rel=2e-5)
    assert decode_srgb(np.array([coded / 255], np.float32))[0] == pytest.approx(light, rel=2e-5)


def test_scikit_image_decodes_alike():
    """Its Y of a grey is the grey's linear light: the luminance factors add to 1."""
    grey = np.linspace(0, 1, 1001)
    assert np.allclose(decode_srgb(grey), rgb2xyz(np.stack([grey] * 3, axis=-1))[:, 1], atol=1e-6)


def test_noise_around_black_keeps_its_mean():
    coded = np.array([-0.02, 0.02], dtype=np.float32)
    assert decode_srgb(coded).sum() == 0


SRGB_TABLE = decode_srgb(np.linspace(0, 1, 1024))


@pytest.mark.parametrize(
    ("profile", "encoding"),
    [
        (imagecodecs.cms_profile("srgb"), "srgb"),
        (rgb_profile(gamma=1.0), "linear"),
        (imagecodecs.cms_profile("gray", gamma=1.0), "linear"),
        (rgb_profile(gamma=2.2), None),
        (rgb_profile(gamma=1.8), None),
        (profile_with_table(SRGB_TABLE), "srgb"),
        (profile_with_table(np.linspace(0, 1, 4096)), "linear"),
        (profile_with_table(np.linspace(0, 1, 1024) ** 2), None),
        (b"", None),
        (b"\0" * 400, None),
        (imagecodecs.cms_profile("srgb")[:500], None),
        (imagecodecs.cms_profile("lab2"), None),
    ],
)
def test_profiles_are_known_by_their_curves(profile, encoding):
    assert encoding_of_profile(profile) == encoding


def test_what_the_user_says_counts_more_than_the_profile():
    assert known_encoding("a.tif", "linear", imagecodecs.cms_profile("srgb")) == "linear"
    assert known_encoding("a.tif", None, imagecodecs.cms_profile("srgb")) == "srgb"
    assert known_encoding("a.tif", None, None) is None


def test_an_unknown_profile_is_named():
    with pytest.raises(EncodingUnknown, match=r"a\.tif: has the colour profile 'RGB built-in', whose curve"):
        known_encoding("a.tif", None, rgb_profile(gamma=2.2))
    assert profile_name(b"") == "without a name"


def test_an_unknown_word_is_refused():
    with pytest.raises(BenchError, match='encoding = "log" is unknown'):
        known_encoding("a.tif", "log", None)
