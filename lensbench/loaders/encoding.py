"""How a picture's numbers follow the light: told by the user, or shown by the embedded colour profile."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError

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

    References
    ----------
    IEC 61966-2-1:1999, Default RGB colour space, sRGB.
    """
    if np.issubdtype(coded.dtype, np.integer):
        largest = np.iinfo(coded.dtype).max
        if largest <= 65535:
            return _srgb_curve(np.arange(largest + 1) / largest).astype(np.float32)[coded]
        coded = coded / largest
    return (np.sign(coded) * _srgb_curve(np.abs(coded))).astype(np.float32)


def _srgb_curve(coded: NDArray) -> NDArray:
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


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

    References
    ----------
    ICC.1:2010, Image technology colour management, sections 7, 10.5 and 10.15.
    """
    tags = _profile_tags(profile)
    curves = [tags[sign] for sign in (b"rTRC", b"gTRC", b"bTRC", b"kTRC") if sign in tags]
    coded = np.linspace(0, 1, 257)
    for encoding, light in (("linear", coded), ("srgb", _srgb_curve(coded))):
        if curves and all(_follows(curve, coded, light) for curve in curves):
            return encoding
    return None


def profile_name(profile: bytes) -> str:
    """The profile's description, or what to call one that has none."""
    tag = _profile_tags(profile).get(b"desc", b"")
    try:
        if tag[:4] == b"mluc":
            length, offset = struct.unpack_from(">II", tag, 20)
            return tag[offset : offset + length].decode("utf-16-be").strip("\0 ")
        (length,) = struct.unpack_from(">I", tag, 8)
        return tag[12 : 12 + length].decode("ascii", "replace").strip("\0 ")
    except (struct.error, UnicodeDecodeError):
        return "without a name"


def _profile_tags(profile: bytes) -> dict[bytes, bytes]:
    """The profile's tagged elements by signature; none where it can't be made sense of."""
    try:
        (count,) = struct.unpack_from(">I", profile, 128)
        entries = [struct.unpack_from(">4sII", profile, 132 + 12 * i) for i in range(min(count, 200))]
    except struct.error:
        return {}
    return {sign: profile[offset : offset + size] for sign, offset, size in entries}


def _follows(curve: bytes, coded: NDArray, light: NDArray) -> bool:
    try:
        values = _curve_values(curve, coded)
    except struct.error:
        return False
    return values is not None and bool(np.all(np.abs(values - light) <= TRC_TOLERANCE))


def _curve_values(curve: bytes, x: NDArray) -> NDArray | None:
    """A `curv` or `para` element worked out at x; None for other elements."""
    if curve[:4] == b"curv":
        (count,) = struct.unpack_from(">I", curve, 8)
        if count == 0:
            return x
        table = struct.unpack_from(f">{count}H", curve, 12)
        if count == 1:
            return x ** (table[0] / 256)
        return np.interp(x, np.linspace(0, 1, count), np.array(table) / 65535)
    if curve[:4] == b"para":
        (kind,) = struct.unpack_from(">H", curve, 8)
        count = (1, 3, 4, 5, 7)[kind] if kind < 5 else 0
        p = [value / 65536 for value in struct.unpack_from(f">{count}i", curve, 12)]
        return _parametric(kind, p, x) if count else None
    return None


def _parametric(kind: int, p: list[float], x: NDArray) -> NDArray:
    """The five parametric curves of ICC.1, table 65: Y = (aX + b)^g + e from d on, cX + f below."""
    g = p[0]
    a, b = (p[1], p[2]) if kind else (1.0, 0.0)
    c, d, e, f = 0.0, 0.0, 0.0, 0.0
    if kind in (1, 2):
        d = -b / a if a else 0.0
        e = f = p[3] if kind == 2 else 0.0
    elif kind in (3, 4):
        c, d = p[3], p[4]
        e, f = (p[5], p[6]) if kind == 4 else (0.0, 0.0)
    return np.where(x >= d, np.maximum(a * x + b, 0) ** g + e, c * x + f)
