"""DNG's opcode lists as bytes: gain maps, warps and bad pixels.

References
----------
Digital Negative (DNG) Specification, version 1.6.0.0, chapter 7, "Opcode List Processing".
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

WARP_RECTILINEAR, FIX_BAD_PIXELS_LIST, GAIN_MAP, WARP_RECTILINEAR_2 = 1, 5, 9, 14

_DNG_1_3, _DNG_1_6 = (1, 3, 0, 0), (1, 6, 0, 0)

_OPTIONAL = 1
"""Flag of an opcode that a reader may leave out if it doesn't know it."""

WARP_2_TERMS = 15
"""Radial terms of WarpRectilinear2, from the zeroth power of the radius on."""


def opcode_list(opcodes: Sequence[bytes]) -> bytes:
    """The value of an OpcodeList tag, which is big-endian in every file."""
    return struct.pack(">I", len(opcodes)) + b"".join(opcodes)


def gain_map(
    gains: NDArray[np.float32],
    size: tuple[int, int],
    first: tuple[int, int] = (0, 0),
    pitch: tuple[int, int] = (1, 1),
    plane: int = 0,
) -> bytes:
    """A GainMap over the whole frame: the map's outermost points lie on the frame's borders.

    Parameters
    ----------
    gains : ndarray, shape (down, across)
        Factors of the light.
    size : (int, int)
        Width and height of the frame in pixels.
    first, pitch : (int, int)
        The first column and row that it acts on, and their steps.
    plane : int
        The plane that it acts on.
    """
    down, across = gains.shape
    body = struct.pack(
        ">10I", first[1], first[0], size[1], size[0], plane, 1, pitch[1], pitch[0], down, across
    ) + struct.pack(">4dI", 1 / (down - 1), 1 / (across - 1), 0.0, 0.0, 1)
    return _opcode(GAIN_MAP, _DNG_1_3, body + gains.astype(">f4").tobytes())


def map_points(count: int, length: int) -> NDArray[np.float64]:
    """Where, in pixels, the points of a `gain_map` lie along a side of the frame."""
    return np.linspace(-0.5, length - 0.5, count)


def warp_rectilinear(
    radial: NDArray[np.float64], tangential: NDArray[np.float64], centre: tuple[float, float]
) -> bytes:
    """A WarpRectilinear for every plane.

    Parameters
    ----------
    radial : ndarray, shape (planes, 4)
        Factors of the radius' even powers, from the zeroth on.
    tangential : ndarray, shape (planes, 2)
    centre : (float, float)
        Across and down, over the frame's width and height.
    """
    planes = np.concatenate([radial, tangential], axis=1)
    body = struct.pack(">I", len(planes)) + planes.astype(">f8").tobytes() + struct.pack(">2d", *centre)
    return _opcode(WARP_RECTILINEAR, _DNG_1_3, body)


def warp_rectilinear_2(
    radial: NDArray[np.float64], tangential: NDArray[np.float64], centre: tuple[float, float]
) -> bytes:
    """A WarpRectilinear2: as `warp_rectilinear`, with even powers up to the fourteenth, `radial` (planes, 8)."""
    terms = np.zeros((len(radial), WARP_2_TERMS))
    terms[:, ::2] = radial
    valid = np.tile([0.0, 1.0], (len(radial), 1))
    planes = np.concatenate([terms, tangential, valid], axis=1)
    body = struct.pack(">I", len(planes)) + planes.astype(">f8").tobytes() + struct.pack(">2dI", *centre, 0)
    return _opcode(WARP_RECTILINEAR_2, _DNG_1_6, body)


def fix_bad_pixels(points: NDArray[np.int64], phase: int) -> bytes:
    """A FixBadPixelsList of a 2 × 2 mosaic.

    Parameters
    ----------
    points : ndarray, shape (points, 2)
        Rows and columns.
    phase : int
        What the mosaic begins with: 0 red, 1 the green beside red, 2 the green beside blue, 3 blue.
    """
    body = struct.pack(">3I", phase, len(points), 0) + np.asarray(points).astype(">u4").tobytes()
    return _opcode(FIX_BAD_PIXELS_LIST, _DNG_1_3, body)


def _opcode(number: int, version: tuple[int, ...], body: bytes) -> bytes:
    return struct.pack(">I4B2I", number, *version, _OPTIONAL, len(body)) + body
