"""How a picture's numbers follow the light: told by the user, or shown by the embedded colour profile."""

from __future__ import annotations

import io

import imagecodecs
import numpy as np
from numpy.typing import NDArray
from PIL import ImageCms

from lensbench.errors import BenchError
from lensbench.srgb import light_from_srgb

ENCODINGS = ("linear", "srgb")
"""Numbers in proportion to the light, and numbers as IEC 61966-2-1 codes it."""

TRC_TOLERANCE = 0.001
"""How far a profile's curve may lie from a known one, of full scale. A plain power of 2.2 lies 0.008 from sRGB."""


class EncodingUnknown(BenchError):
    """Nobody says how a picture's numbers follow the light."""


def decode_srgb(coded: NDArray) -> NDArray[np.float32]:
    """Linear light, 0 to 1, of numbers coded as sRGB.

    Parameters
    ----------
    coded : ndarray
        Whole numbers over their type's whole range, or floating point from 0 to 1. Negative numbers are decoded
        as their mirror image, so that noise around black keeps its mean.
    """
    if np.issubdtype(coded.dtype, np.integer):
        largest = np.iinfo(coded.dtype).max
        if largest <= 65535:
            return light_from_srgb(np.arange(largest + 1) / largest).astype(np.float32)[coded]
        coded = coded / largest
    return (np.sign(coded) * light_from_srgb(np.abs(coded))).astype(np.float32)


def known_encoding(name: str, told: str | None, profile: bytes | None) -> str | None:
    """The encoding that the user told or, where none was told, that the embedded profile shows.

    Parameters
    ----------
    name : str
        The file, as messages call it.
    told : str or None
        The session file's word.
    profile : bytes or None
        The embedded ICC profile.

    Returns
    -------
    str or None
        One of `ENCODINGS`; None where nothing was told and there is no profile.

    Raises
    ------
    BenchError
        If what was told is no encoding.
    EncodingUnknown
        If the profile is of a kind that isn't known here.
    """
    if told is not None:
        if told not in ENCODINGS:
            raise BenchError(f'{name}: encoding = "{told}" is unknown. It can be "linear" or "srgb".')
        return told
    if profile is None:
        return None
    encoding = encoding_of_profile(profile)
    if encoding is None:
        raise EncodingUnknown(
            f"{name}: has the colour profile {profile_name(profile)!r}, whose curve is neither linear nor sRGB. "
            "Export "
            'the file with linear light or as sRGB; or, if the profile is wrong, add encoding = "linear" or '
            'encoding = "srgb" to its [[shot]] in session.toml.'
        )
    return encoding


def encoding_of_profile(profile: bytes) -> str | None:
    """Which of `ENCODINGS` the tone curves of an ICC profile are; None where they are another, or can't be read.

    Parameters
    ----------
    profile : bytes
        As embedded in a picture.

    Returns
    -------
    str or None
    """
    coded = np.linspace(0, 1, 257)
    curves = _tone_curves(profile, coded)
    if curves is None:
        return None
    for encoding, light in (("linear", coded), ("srgb", light_from_srgb(coded))):
        if np.all(np.abs(curves - light) <= TRC_TOLERANCE):
            return encoding
    return None


def _tone_curves(profile: bytes, coded: NDArray) -> NDArray[np.float64] | None:
    """Light of each of a profile's colours alone at some coded values, over that at 1, shape (colours, values)."""
    space = _COLOUR_SPACES.get(profile[_SPACE_AT])
    if space is None:
        return None
    ramps = np.eye(3)[:, None] * coded[:, None] if space == "rgb" else coded[None]
    linear = imagecodecs.cms_profile("gray", gamma=1.0)
    try:
        light = imagecodecs.cms_transform(
            ramps, profile, linear, colorspace=space, outcolorspace="gray", outdtype="f8", intent=_RELATIVE
        )
    except imagecodecs.CmsError:
        return None
    light = np.reshape(light, (-1, len(coded)))
    return light / np.maximum(light[:, -1:], 1e-9)


_COLOUR_SPACES = {b"RGB ": "rgb", b"GRAY": "gray"}
_SPACE_AT = slice(16, 20)
"""Where a profile's header names its colour space (ICC.1:2010, section 7.2.6)."""

_RELATIVE = 1
"""Relative colorimetric: white to white, without any adjustment of tones (ICC.1:2010, section 7.2.15)."""


def profile_name(profile: bytes) -> str:
    """The profile's description, or what to call one that has none."""
    try:
        return ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile))).strip()
    except (OSError, ImageCms.PyCMSError):
        return "without a name"
