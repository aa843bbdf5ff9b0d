"""A corrected copy as 16-bit TIFF, in linear light or ready to display, with its profile and what was done."""

from __future__ import annotations

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from lensbench.correction._directory import (
    ASCII,
    EXIF_DIRECTORY,
    GPS_DIRECTORY,
    LONG,
    SHORT,
    UNDEFINED,
    entry,
    tiff_bytes,
)
from lensbench.correction._source import Source
from lensbench.srgb import light_from_srgb, srgb_from_light

_STRIP_ROWS = 64

_DEFLATE = 8
_DIFFERENCES = 2
"""Predictor: each number less the one at its left."""

_LEVEL = 1
"""Deflate's fastest: the noise of a picture can't be pressed any further."""

_D65_WHITE = 0.3127, 0.3290, 1.0
_SRGB_PRIMARIES = 0.64, 0.33, 1.0, 0.30, 0.60, 1.0, 0.15, 0.06, 1.0
"""IEC 61966-2-1."""


def screen_colours(planes: NDArray[np.float32], to_srgb: NDArray[np.float64] | None) -> NDArray[np.float32]:
    """Balanced camera colours in linear sRGB, cut to 0 to 1; grey frames stay grey.

    What is white in all of the camera's colours is white.
    """
    if to_srgb is None or planes.ndim == 2:
        return planes
    result = np.empty_like(planes)
    for top in range(0, len(planes), _STRIP_ROWS):
        part = planes[top : top + _STRIP_ROWS]
        np.clip(part @ to_srgb.T.astype(np.float32), 0.0, 1.0, out=result[top : top + _STRIP_ROWS])
    return result


def coded(light: NDArray[np.float32], linear: bool) -> NDArray[np.uint16]:
    """Light from 0 to 1 as 16-bit numbers: in proportion, or as sRGB codes it."""
    numbers = light if linear else srgb_from_light(light)
    return np.rint(numbers * np.float32(65535)).astype(np.uint16)


def profile(linear: bool, grey: bool) -> bytes:
    """The ICC profile of the numbers."""
    if grey:
        curve = {"gamma": 1.0} if linear else {"transferfunction": _decoding_curve()}
        return imagecodecs.cms_profile("gray", whitepoint=_D65_WHITE, **curve)
    if not linear:
        return imagecodecs.cms_profile("srgb")
    return imagecodecs.cms_profile("rgb", whitepoint=_D65_WHITE, primaries=_SRGB_PRIMARIES, gamma=1.0)


def _decoding_curve() -> NDArray[np.uint16]:
    return np.rint(light_from_srgb(np.linspace(0, 1, 4096)) * 65535).astype(np.uint16)


def tiff_copy_bytes(
    light: NDArray[np.float32], source: Source, linear: bool, description: str, software: str
) -> bytes:
    """The copy's content.

    Parameters
    ----------
    light : ndarray, shape (height, width, 3) or (height, width)
        From 0 to 1, in linear sRGB or grey.
    source : Source
    linear : bool
        Whether numbers are in proportion to the light; else they are coded as sRGB.
    description, software : str
        Text for the entries of these names.
    """
    height, width = light.shape[:2]
    planes = 1 if light.ndim == 2 else 3
    strips: list[bytes] = []
    for top in range(0, height, _STRIP_ROWS):
        numbers = coded(light[top : top + _STRIP_ROWS], linear)
        differences = imagecodecs.delta_encode(numbers, axis=1)
        strips.append(
            bytes(imagecodecs.zlib_encode(np.ascontiguousarray(differences, dtype="<u2").tobytes(), level=_LEVEL))
        )
    entries = [
        entry(254, LONG, 0),
        entry(256, LONG, width),
        entry(257, LONG, height),
        entry(258, SHORT, [16] * planes),
        entry(259, SHORT, _DEFLATE),
        entry(262, SHORT, 1 if planes == 1 else 2),  # PhotometricInterpretation: black is 0, or RGB
        entry(270, ASCII, description),
        entry(277, SHORT, planes),
        entry(278, LONG, _STRIP_ROWS),
        entry(284, SHORT, 1),
        entry(305, ASCII, software),
        entry(317, SHORT, _DIFFERENCES),
        entry(34675, UNDEFINED, profile(linear, planes == 1)),
        *source.first,
    ]
    return tiff_bytes(entries, strips, {EXIF_DIRECTORY: source.exif, GPS_DIRECTORY: source.gps})
