"""Shots written as DNG files: the samples as they are, uncompressed, and what is known of the exposure.

The files keep to the published DNG specification (version 1.4) and TIFF/EP (ISO 12234-2), whose exposure
tags lie in the first directory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np
import tifffile

from lensbench.errors import BenchError
from lensbench.files import written_whole
from lensbench.shot import Exposure, Shot

CAMERA = "Bench Simulator"
"""The camera that a file is said to come from where the shot names none."""

CFA, LINEAR_RAW = 32803, 34892
"""Photometric interpretations: a mosaic, and planes (or one plane) in linear light."""

_PLANE_CODES = {"red": 0, "green": 1, "blue": 2}
"""CFAPlaneColor codes of TIFF/EP."""

_XYZ_TO_CAMERA = (
    (3.2410, -1.5374, -0.4986),
    (-0.9692, 1.8760, 0.0416),
    (0.0556, -0.2040, 1.0570),
)
"""The colour matrix of an invented camera that sees as sRGB does (IEC 61966-2-1), so that D65 is neutral in it."""

_D65 = 21
"""CalibrationIlluminant code of daylight at 6504 K (EXIF LightSource)."""

_FLOAT_PEDESTAL = 1024
"""Black level in 16 bits of a shot that isn't stored in such: room for noise below black."""


class Tag(NamedTuple):
    """One TIFF tag as tifffile takes it: code, data type, number of values, values, into the first page only."""

    code: int
    dtype: str
    number: int
    value: object
    first_page_only: bool = True


def write_dng(path: str | Path, shot: Shot) -> None:
    """Write a shot as an uncompressed 16-bit DNG that raw developers open.

    Whole numbers from 0 to 65535 are written as they are. Others (floating point, or wider) are brought to 16 bits
    linearly, black to 1024 and white to 65535. `shot.gain` isn't stored: a reader finds it in the samples.

    Parameters
    ----------
    path : path
        The file to make or replace, whole or not at all.
    shot : Shot
        A mosaic of any repeat, a monochrome frame, or planes; of red, green and blue, or grey.

    Raises
    ------
    BenchError
        If the shot has colours that aren't red, green, blue or grey.

    References
    ----------
    Digital Negative (DNG) Specification, version 1.4.0.0.
    """
    shot = in_16_bits(shot)
    tags = [*_camera_tags(shot), *sample_tags(shot), *_colour_tags(shot), *_exposure_tags(shot.exposure)]
    with written_whole(path) as temporary:
        tifffile.imwrite(
            temporary,
            np.ascontiguousarray(shot.samples, dtype=np.uint16),
            byteorder="<",
            photometric="minisblack" if shot.samples.ndim == 2 else "rgb",
            planarconfig=None if shot.samples.ndim == 2 else "contig",
            metadata=None,
            software="lensbench",
            extratags=tags,
        )
        # tifffile knows no mosaics, and may count planes of LinearRaw beyond the first as extra samples, which
        # readers refuse: what the samples are is put in afterwards.
        with tifffile.TiffFile(temporary, mode="r+") as tiff:
            tiff.pages.first.tags[262].overwrite(photometric_of(shot))


def in_16_bits(shot: Shot) -> Shot:
    """The same shot in whole numbers from 0 to 65535: itself, if it is stored so already."""
    samples = shot.samples
    if np.issubdtype(samples.dtype, np.integer) and samples.min() >= 0 and samples.max() <= 65535:
        return shot
    index = shot.pattern if shot.pattern is not None else np.arange(len(shot.colours))
    factor = (65535 - _FLOAT_PEDESTAL) / (shot.white - shot.black)
    black, factor = _spread(shot.black[index], samples.shape), _spread(factor[index], samples.shape)
    stored = np.rint((samples - black) * factor + _FLOAT_PEDESTAL)
    return replace(
        shot,
        samples=np.clip(stored, 0, 65535).astype(np.uint16),
        black=np.full(len(shot.colours), float(_FLOAT_PEDESTAL)),
        white=65535.0,
    )


def _spread(repeat: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Values of a mosaic's repeat for every sample; values of planes as they are."""
    if len(shape) == 3:
        return repeat
    down, across = repeat.shape
    return np.tile(repeat, (-(-shape[0] // down), -(-shape[1] // across)))[: shape[0], : shape[1]]


def _check_colours(shot: Shot) -> None:
    strange = set(shot.colours) - set(_PLANE_CODES)
    if strange and shot.colours != ("grey",):
        raise BenchError(
            f"{shot.name}: cannot be written as DNG, because it has the colours {', '.join(shot.channels)}. "
            "Only red, green and blue, or grey alone, can."
        )


def _is_mosaic(shot: Shot) -> bool:
    return shot.pattern is not None and shot.colours != ("grey",)


def _camera_tags(shot: Shot) -> list[Tag]:
    camera = shot.exposure.camera or CAMERA
    width, height = shot.size
    return [
        Tag(254, "I", 1, 0),  # NewSubfileType: the picture itself
        Tag(271, "s", 0, camera.split()[0]),  # Make
        Tag(272, "s", 0, camera),  # Model
        Tag(274, "H", 1, shot.exposure.orientation),
        Tag(50706, "B", 4, (1, 4, 0, 0)),  # DNGVersion
        Tag(50707, "B", 4, (1, 1, 0, 0)),  # DNGBackwardVersion
        Tag(50708, "s", 0, camera),  # UniqueCameraModel
        Tag(50719, "I", 2, (0, 0)),  # DefaultCropOrigin
        Tag(50720, "I", 2, (width, height)),  # DefaultCropSize
        Tag(50829, "I", 4, (0, 0, height, width)),  # ActiveArea
    ]


def sample_tags(shot: Shot) -> list[Tag]:
    """What a shot's samples mean: black and white, and the colours of a mosaic.

    Raises
    ------
    BenchError
        If the shot has colours that aren't red, green, blue or grey.
    """
    _check_colours(shot)
    return _level_tags(shot) + (_mosaic_tags(shot) if _is_mosaic(shot) else [])


def photometric_of(shot: Shot) -> int:
    """`CFA` for a mosaic, `LINEAR_RAW` for planes and grey frames."""
    return CFA if _is_mosaic(shot) else LINEAR_RAW


def _level_tags(shot: Shot) -> list[Tag]:
    """Black for each position of the mosaic's repeat (or each plane), and white."""
    planes = 1 if shot.samples.ndim == 2 else shot.samples.shape[2]
    levels = shot.black[shot.pattern] if shot.pattern is not None else shot.black.reshape(1, 1, planes)
    if np.all(levels == levels.flat[0]):
        levels = levels[:1, :1]
    return [
        Tag(50713, "H", 2, levels.shape[:2]),  # BlackLevelRepeatDim
        Tag(50714, "2I", levels.size, _rationals(levels.ravel())),  # BlackLevel
        Tag(50717, "I", planes, (round(shot.white),) * planes),  # WhiteLevel
    ]


def _colour_tags(shot: Shot) -> list[Tag]:
    if shot.colours == ("grey",):
        return []
    return [
        Tag(50721, "2i", 9, _rationals(np.ravel(_XYZ_TO_CAMERA))),  # ColorMatrix1
        Tag(50728, "2I", 3, (1, 1) * 3),  # AsShotNeutral
        Tag(50778, "H", 1, _D65),  # CalibrationIlluminant1
    ]


def _mosaic_tags(shot: Shot) -> list[Tag]:
    assert shot.pattern is not None
    codes = np.array([_PLANE_CODES[name] for name in shot.colours], dtype=np.uint8)
    repeat = codes[shot.pattern]
    return [
        Tag(33421, "H", 2, repeat.shape),  # CFARepeatPatternDim
        Tag(33422, "B", repeat.size, repeat.tobytes()),  # CFAPattern
        Tag(50710, "B", 3, (0, 1, 2)),  # CFAPlaneColor
        Tag(50711, "H", 1, 1),  # CFALayout: a rectangular grid
    ]


def _exposure_tags(exposure: Exposure) -> list[Tag]:
    tags = []
    if exposure.taken:
        moment = exposure.taken.replace("-", ":")[:19]
        tags += [Tag(306, "s", 20, moment), Tag(36867, "s", 20, moment)]  # DateTime, DateTimeOriginal
    if exposure.shutter_s:
        tags.append(Tag(33434, "2I", 1, _rationals([exposure.shutter_s])))
    if exposure.f_number:
        tags.append(Tag(33437, "2I", 1, _rationals([exposure.f_number])))
    if exposure.iso:
        tags.append(Tag(34855, "H", 1, min(round(exposure.iso), 65535)))
    if exposure.focal_mm:
        tags.append(Tag(37386, "2I", 1, _rationals([exposure.focal_mm])))
    return tags


def _rationals(values: Iterable[float]) -> tuple[int, ...]:
    """Numerators and denominators in turn, as TIFF stores rationals."""
    fractions = [Fraction(float(v)).limit_denominator(100_000) for v in values]
    return tuple(n for f in fractions for n in (f.numerator, f.denominator))
