"""A corrected copy as DNG: the mosaic untouched, the corrections as opcodes, compressed without loss."""

from __future__ import annotations

from dataclasses import replace

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from lensbench.correction._directory import (
    ASCII,
    BYTE,
    EXIF_DIRECTORY,
    GPS_DIRECTORY,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    UNDEFINED,
    Entry,
    entry,
    tiff_bytes,
    values_of,
)
from lensbench.correction._opcodes import opcode_list
from lensbench.correction._picture_opcodes import Opcodes
from lensbench.correction._source import Source
from lensbench.dng import Tag, in_16_bits, photometric_of, sample_tags
from lensbench.shot import Shot

_TILE_ROWS, _TILE_COLUMNS = 480, 512
"""Multiples of 16, as TIFF asks, and rows also of the repeats of most mosaics."""

_LOSSLESS_JPEG = 7

_BASELINE_EXPOSURE = 50730


def dng_bytes(source: Source, opcodes: Opcodes, exposure_stops: float, description: str, software: str) -> bytes:
    """The copy's content.

    Parameters
    ----------
    source : Source
    opcodes : Opcodes
    exposure_stops : float
        By how much the gains lighten the whole picture: BaselineExposure takes it back.
    description, software : str
        Text for the entries of these names.
    """
    shot = in_16_bits(source.shot)
    width, height = shot.size
    newer = opcodes.warp is not None and opcodes.warp.newer
    lists = {
        51008: opcodes.bad_pixels,
        51009: opcodes.gains,
        51022: [opcodes.warp.opcode()] if opcodes.warp is not None else [],
    }
    planes = 1 if shot.samples.ndim == 2 else shot.samples.shape[2]
    layout, pieces = _pieces(shot)
    entries = [
        entry(254, LONG, 0),  # NewSubfileType: the picture itself
        entry(256, LONG, width),
        entry(257, LONG, height),
        entry(258, SHORT, [16] * planes),  # BitsPerSample
        entry(262, SHORT, photometric_of(shot)),
        entry(270, ASCII, description),
        entry(277, SHORT, planes),  # SamplesPerPixel
        entry(284, SHORT, 1),  # PlanarConfiguration: samples of a place together
        entry(305, ASCII, software),
        *layout,
        entry(50706, BYTE, (1, 6, 0, 0) if newer else (1, 4, 0, 0)),  # DNGVersion
        entry(50707, BYTE, (1, 3, 0, 0)),  # DNGBackwardVersion: opcodes
        entry(50719, LONG, (0, 0)),  # DefaultCropOrigin
        entry(50720, LONG, (width, height)),  # DefaultCropSize
        entry(50829, LONG, (0, 0, height, width)),  # ActiveArea
        *(entry_of(tag) for tag in sample_tags(replace(shot, white=min(shot.white, 65535.0)))),
        *(entry(code, UNDEFINED, opcode_list(held)) for code, held in lists.items() if held),
        *source.first,
        *_with_exposure(source.colour, exposure_stops),
    ]
    return tiff_bytes(entries, pieces, {EXIF_DIRECTORY: source.exif, GPS_DIRECTORY: source.gps})


def entry_of(tag: Tag) -> Entry:
    """An entry from a tag as the plain DNG writer makes it."""
    kinds = {"B": BYTE, "s": ASCII, "H": SHORT, "I": LONG, "2I": RATIONAL, "2i": SRATIONAL}
    kind = kinds[tag.dtype]
    if kind not in (RATIONAL, SRATIONAL):
        return entry(tag.code, kind, tag.value)
    parts = np.array(tag.value, dtype="<u4" if kind == RATIONAL else "<i4")
    return entry(tag.code, kind, parts.tobytes())


def _with_exposure(colour: list[Entry], stops: float) -> list[Entry]:
    if stops == 0:
        return colour
    own = [values_of(item)[0] for item in colour if item.code == _BASELINE_EXPOSURE]
    others = [item for item in colour if item.code != _BASELINE_EXPOSURE]
    return [*others, entry(_BASELINE_EXPOSURE, SRATIONAL, (own[0] if own else 0.0) - stops)]


def _pieces(shot: Shot) -> tuple[list[Entry], list[bytes]]:
    """The samples as they go into the file, and the entries that say how."""
    samples = np.ascontiguousarray(shot.samples, dtype="<u2")
    if samples.shape[1] < _TILE_COLUMNS or samples.ndim == 3:
        # Not every reader copes with a tile that is wider than the picture, nor with planes as one component.
        return [entry(259, SHORT, 1), entry(278, LONG, len(samples))], [samples.tobytes()]
    layout = [entry(259, SHORT, _LOSSLESS_JPEG), entry(322, LONG, _TILE_COLUMNS), entry(323, LONG, _TILE_ROWS)]
    return layout, _tiles(samples, len(shot.pattern) if shot.pattern is not None else 1)


def _tiles(samples: NDArray, repeat: int) -> list[bytes]:
    """The samples in tiles of lossless JPEG.

    The encoder predicts each number from the one above it. Rows of one repeat of the mosaic are therefore laid end
    to end, so that what lies above has the same colour; decoders read the numbers in the same order either way.
    """
    joined = repeat if _TILE_ROWS % repeat == 0 else 1
    tiles = []
    for top in range(0, samples.shape[0], _TILE_ROWS):
        for left in range(0, samples.shape[1], _TILE_COLUMNS):
            part = samples[top : top + _TILE_ROWS, left : left + _TILE_COLUMNS]
            short = [(0, _TILE_ROWS - part.shape[0]), (0, _TILE_COLUMNS - part.shape[1])]
            full = np.pad(part, [*short, *[(0, 0)] * (part.ndim - 2)], mode="edge")
            together = full.reshape(_TILE_ROWS // joined, -1)
            tiles.append(bytes(imagecodecs.ljpeg_encode(together, bitspersample=16)))
    return tiles
