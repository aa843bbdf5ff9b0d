"""The DNG standard's own reference code, asked for the picture after a file's opcode lists.

dngpy brings that code whole, as the shared library ``libdng``, but its Python part hands out stages 1 (as stored)
only: stage 3 (mapped to linear light, opcode list 2 applied, demosaiced, opcode list 3 applied) is never built. So
the library's own functions are called here, by their names as C++ compilers mangle them, in the order in which the
standard's validating program calls them.
"""

from __future__ import annotations

import ctypes
import os
import tempfile
from pathlib import Path

import dngpy
import numpy as np

_ROOM = 1 << 20
"""Bytes for each C++ object: more than any of them needs."""

_SHORT, _FLOAT = 3, 11
_INTERLEAVED = 1

_library = ctypes.CDLL(str(Path(dngpy.__file__).parents[1] / "lib" / "libdng.so.1"))


def _call(symbol: str, *arguments, result=None):
    function = getattr(_library, symbol)
    function.restype = result
    return function(*arguments)


def _object() -> ctypes.Array:
    return ctypes.create_string_buffer(_ROOM)


def developed(path: str | Path) -> np.ndarray:
    """Red, green and blue in linear light, 0 to 65535, shape (height, width, 3)."""
    host, stream, info = _object(), _object(), _object()
    _call("_ZN8dng_hostC1EP20dng_memory_allocatorP17dng_abort_sniffer", host, None, None)
    _call("_ZN15dng_file_streamC1EPKcbj", stream, os.fsencode(path), ctypes.c_bool(False), ctypes.c_uint32(8192))
    _call("_ZN8dng_infoC1Ev", info)
    _call("_ZN8dng_info5ParseER8dng_hostR10dng_stream", info, host, stream)
    _call("_ZN8dng_info9PostParseER8dng_host", info, host)
    negative = ctypes.c_void_p(_call("_ZN8dng_host17Make_dng_negativeEv", host, result=ctypes.c_void_p))
    _call("_ZN12dng_negative5ParseER8dng_hostR10dng_streamR8dng_info", negative, host, stream, info)
    _call("_ZN12dng_negative9PostParseER8dng_hostR10dng_streamR8dng_info", negative, host, stream, info)
    _call("_ZN12dng_negative15ReadStage1ImageER8dng_hostR10dng_streamR8dng_info", negative, host, stream, info)
    _call("_ZN12dng_negative16BuildStage2ImageER8dng_host", negative, host)
    _call("_ZN12dng_negative16BuildStage3ImageER8dng_hosti", negative, host, ctypes.c_int(-1))
    image = ctypes.c_void_p(
        _call("_ZNK12dng_negative22UnflattenedStage3ImageEv", negative, result=ctypes.c_void_p)
    )
    width, height = _size(path)
    pixels = np.zeros((height, width, 3), np.uint16)
    area, buffer = (ctypes.c_int32 * 4)(0, 0, height, width), _object()
    _call(
        "_ZN16dng_pixel_bufferC1ERK8dng_rectjjjjPv",
        buffer,
        area,
        *map(ctypes.c_uint32, (0, 3, _SHORT, _INTERLEAVED)),
        ctypes.c_void_p(pixels.ctypes.data),
    )
    _call("_ZNK9dng_image3GetER16dng_pixel_bufferNS_11edge_optionEjj", image, buffer, 0, 1, 1)
    return pixels


def _size(path: str | Path) -> tuple[int, int]:
    pixels = dngpy.Dng(str(path)).raw_pixels
    return pixels.shape[1], pixels.shape[0]


def complaints(path: str | Path) -> list[str]:
    """What the reference code objects to while it opens a file; it says so on the process's own error stream."""
    with tempfile.TemporaryFile() as held:
        old = os.dup(2)
        try:
            os.dup2(held.fileno(), 2)
            dngpy.Dng(str(path))
        finally:
            os.dup2(old, 2)
            os.close(old)
        held.seek(0)
        return [line for line in held.read().decode("utf-8", "replace").splitlines() if "***" in line]
