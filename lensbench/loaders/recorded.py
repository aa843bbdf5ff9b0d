"""What a file records beside its samples: exposure facts, and a raw file's own levels."""

from __future__ import annotations

import itertools
import logging
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from lensbench.dng import CFA, LINEAR_RAW
from lensbench.formatting import printable
from lensbench.shot import Exposure

_LOSSY_COMPRESSION = {34892: "lossy JPEG"}
"""Compression codes of DNG that change the samples."""

_LONGEST_TEXT = 200
"""Characters of a recorded text that are kept: cameras' names are shorter."""

_LEVEL_TAGS = {"black": "BlackLevel", "white": "WhiteLevel"}

_MOST_PAGES = 12
"""Pages looked at beside each other: the picture, its thumbnails and previews."""

# tifffile logs what it finds odd in camera files; what matters of it comes to the user as a message of ours.
logging.getLogger("tifffile").setLevel(logging.CRITICAL)


@dataclass(frozen=True, eq=False)
class RawPage:
    """The directory of a raw file that holds the sensor's samples.

    Attributes
    ----------
    size : (int, int)
        Width and height in samples, margins included.
    mosaic : bool
        Whether the samples are a mosaic (not planes).
    origin : (int, int)
        Row and column where the visible frame begins, as the file says.
    black : ndarray, shape (down, across, planes), or None
        Black by place from the origin on.
    white : float or None
        The lowest of the planes' white levels.
    lossy : str or None
        What the samples were compressed with, where that changed them.
    unstated : tuple of str
        ``black`` and ``white``, where a DNG states no such level.
    missing_bytes : int
        How far the samples reach beyond the file's end, or are fewer than the size asks for.
    """

    size: tuple[int, int]
    mosaic: bool
    origin: tuple[int, int]
    black: NDArray[np.float64] | None
    white: float | None
    lossy: str | None
    missing_bytes: int
    unstated: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Recorded:
    """What a TIFF-based file tells about itself.

    `plain_grey` holds the sizes of its ordinary grey pages, which LibRaw takes for mosaics.
    """

    exposure: Exposure
    is_dng: bool
    raw_page: RawPage | None
    plain_grey: frozenset[tuple[int, int]]


NOTHING = Recorded(Exposure(), False, None, frozenset())
"""Of files that aren't TIFF, or whose directories can't be made sense of."""


def read_recorded(path: str | Path) -> Recorded:
    """Read what a TIFF-based raw file records; `NOTHING` where it is of another kind or makes no sense.

    Parameters
    ----------
    path : path
        The file.
    """
    try:
        with tifffile.TiffFile(path) as tiff:
            return _recorded(tiff)
    except Exception:
        # Camera files bend the TIFF rules and tifffile raises whatever it trips over. Nothing here is needed to
        # unpack a file, so what can't be read stays unknown.
        return NOTHING


def exposure_of_tiff(tiff: tifffile.TiffFile) -> Exposure:
    """The exposure facts in a TIFF's first directory and its EXIF directory."""
    tags = {tag.name: tag.value for tag in tiff.pages.first.tags}
    exif = tags.get("ExifTag")
    return exposure_of({**tags, **exif} if isinstance(exif, dict) else tags)


def exposure_of(tags: Mapping[str, Any]) -> Exposure:
    """Exposure facts from TIFF and EXIF tags by name; what is missing or makes no sense is None."""
    iso = tags.get("PhotographicSensitivity", tags.get("ISOSpeedRatings"))
    orientation = _number(tags.get("Orientation"))
    return Exposure(
        camera=_camera(_text(tags.get("Make")), _text(tags.get("Model"))),
        shutter_s=_positive(tags.get("ExposureTime")),
        iso=_positive(iso[0] if isinstance(iso, tuple) and iso else iso),
        f_number=_positive(tags.get("FNumber")),
        focal_mm=_positive(tags.get("FocalLength")),
        taken=_moment(_text(tags.get("DateTimeOriginal")) or _text(tags.get("DateTime"))),
        orientation=int(orientation) if orientation is not None and orientation in range(1, 9) else 1,
    )


def _recorded(tiff: tifffile.TiffFile) -> Recorded:
    pages = list(all_pages(tiff.pages))
    is_dng = "DNGVersion" in tiff.pages.first.tags
    raw = [p for p in pages if p.photometric in (CFA, LINEAR_RAW) and not p.is_reduced]
    largest = max(raw, key=lambda p: p.imagewidth * p.imagelength, default=None)
    grey = frozenset((p.imagewidth, p.imagelength) for p in pages if p.photometric in (0, 1))
    return Recorded(
        exposure_of_tiff(tiff),
        is_dng,
        None if largest is None else _raw_page(largest, tiff.filehandle.size, is_dng),
        frozenset() if raw or is_dng else grey,
    )


def all_pages(pages: tifffile.TiffPages, depth: int = 2) -> Iterator[tifffile.TiffPage]:
    """The first pages of a TIFF and those under them: not a damaged file's endless chain."""
    for page in itertools.islice(pages, _MOST_PAGES):
        if isinstance(page, tifffile.TiffPage):
            yield page
            if page.pages is not None and page.subifds and depth:
                yield from all_pages(page.pages, depth - 1)


def _raw_page(page: tifffile.TiffPage, file_size: int, is_dng: bool) -> RawPage:
    area = page.tags.valueof("ActiveArea") or (0, 0)
    # LibRaw brings floating point to whole numbers of its own scale, so that only its own levels fit them.
    levels = is_dng and page.sampleformat == 1
    return RawPage(
        size=(int(page.imagewidth), int(page.imagelength)),
        mosaic=page.photometric == CFA,
        origin=(int(area[0]), int(area[1])),
        black=_black(page) if levels else None,
        white=_white(page) if levels else None,
        lossy=_LOSSY_COMPRESSION.get(int(page.compression)),
        missing_bytes=missing_bytes(page, file_size),
        unstated=tuple(name for name, tag in _LEVEL_TAGS.items() if levels and page.tags.get(tag) is None),
    )


def missing_bytes(page: tifffile.TiffPage, file_size: int) -> int:
    """How far a page's samples reach beyond the file's end, or are fewer than its size asks for."""
    ends = [offset + count for offset, count in zip(page.dataoffsets, page.databytecounts, strict=False)]
    short = max(ends, default=0) - file_size
    if page.compression == 1 and not page.is_tiled:
        line = -(-page.imagewidth * page.samplesperpixel * page.bitspersample // 8)
        short = max(short, line * page.imagelength - sum(page.databytecounts))
    return max(0, short)


def _black(page: tifffile.TiffPage) -> NDArray[np.float64] | None:
    """BlackLevel of a DNG by place and plane, 0 where it has none; None where it makes no sense."""
    down, across = page.tags.valueof("BlackLevelRepeatDim") or (1, 1)
    planes = page.samplesperpixel
    tag = page.tags.get("BlackLevel")
    if tag is None:
        return np.zeros((1, 1, planes))
    values = np.atleast_1d(np.asarray(tag.value, dtype=np.float64))
    if tag.dtype in (tifffile.DATATYPE.RATIONAL, tifffile.DATATYPE.SRATIONAL):
        with np.errstate(all="ignore"):
            values = values[0::2] / values[1::2]
    return values.reshape(down, across, planes) if np.isfinite(values).all() else None


def _white(page: tifffile.TiffPage) -> float:
    """The lowest WhiteLevel of a DNG's planes; the largest number that its bits hold where it has none."""
    white = page.tags.valueof("WhiteLevel")
    return float(2**page.bitspersample - 1 if white is None else np.min(white))


def _camera(make: str | None, model: str | None) -> str | None:
    """Make and model as one name, the make not said twice."""
    if not make or not model:
        return model or make
    return model if model.lower().startswith(make.split()[0].lower()) else f"{make} {model}"


def _text(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return (
        (printable(value.replace("\0", " ").strip()[:_LONGEST_TEXT]) or None) if isinstance(value, str) else None
    )


def _number(value: Any) -> float | None:
    """A tag's number: whole, real, or a pair of numerator and denominator."""
    try:
        if isinstance(value, tuple):
            return value[0] / value[1]
        return float(value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError, OverflowError):
        return None


def _positive(value: Any) -> float | None:
    number = _number(value)
    return number if number is not None and 0 < number < np.inf else None


def _moment(text: str | None) -> str | None:
    """EXIF's date and time, as people write them."""
    match = re.match(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d:\d\d:\d\d)", text or "")
    return "{}-{}-{} {}".format(*match.groups()) if match else None
