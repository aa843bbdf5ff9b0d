"""A raw picture to be corrected: its samples, its camera's colours, and what else its file records."""

from __future__ import annotations

import mmap
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.correction._directory import (
    ASCII,
    RATIONAL,
    SHORT,
    SRATIONAL,
    UNDEFINED,
    Entry,
    entry,
    read_directories,
    values_of,
)
from lensbench.correction._record import is_corrected_copy
from lensbench.errors import BenchError
from lensbench.loaders.opening import JPEG, PNG, read_head
from lensbench.loaders.raw import Facts, load_raw_with_facts
from lensbench.loaders.recorded import read_recorded
from lensbench.shot import Shot

CARRIED_FIRST = (271, 272, 306, 315, 33432)
"""Make, model, date, artist, copyright."""

CARRIED_COLOUR = (
    *(
        50708,
        50721,
        50722,
        50723,
        50724,
        50727,
        50728,
        50729,
        50730,
        50731,
        50732,
        50734,
        50738,
        50739,
        50778,
        50779,
    ),
    *(50964, 50965, 51041),
)
"""A DNG's camera model, colour matrices, neutral, baselines, illuminants, noise profile."""

CARRIED_EXIF = (
    *(
        33434,
        33437,
        34850,
        34855,
        34864,
        34865,
        34866,
        34867,
        36864,
        36867,
        36868,
        36880,
        36881,
        36882,
        37121,
        37377,
    ),
    *(
        37378,
        37379,
        37380,
        37381,
        37382,
        37383,
        37384,
        37385,
        37386,
        37520,
        37521,
        37522,
        41486,
        41487,
        41488,
        41986,
    ),
    *(41987, 41989, 41990, 41996, 42034, 42035, 42036),
)
"""Exposure, sensitivity, dates with their parts of seconds and offsets, focal length, lens. Not carried: makers'
notes, whose places in the file change, and serial numbers and owners."""

_D65 = 21

_MODEL, _COLOUR_MATRIX, _COLOUR_MATRIX_2, _NEUTRAL, _ILLUMINANT, _ILLUMINANT_2 = (
    *(50708, 50721, 50722, 50728, 50778, 50779),
)

UNKNOWN_CAMERA = "Unknown camera"


@dataclass(frozen=True, eq=False)
class Source:
    """A raw picture and what its copies carry on.

    Attributes
    ----------
    shot : Shot
        `shot.white` is the level that the file states, alike for all pictures of a camera.
    clips_at : float
        Stored number at which the samples really clip: that or a little lower.
    first, exif, gps : list of Entry
        For the copies' directories; `first` without colours.
    colour : list of Entry
        What a DNG needs to know of the camera's colours; empty for a frame without colours.
    to_srgb : ndarray, shape (3, 3), or None
        Camera's red, green and blue, balanced, to linear sRGB; None for a frame without colours.
    balance : ndarray, shape (3,)
        Factors that make neutral light equal in all colours, the least of them 1.
    caveats : list of str
    """

    shot: Shot
    clips_at: float
    first: list[Entry]
    exif: list[Entry]
    gps: list[Entry]
    colour: list[Entry]
    to_srgb: NDArray[np.float64] | None
    balance: NDArray[np.float64]
    caveats: list[str]


def read_source(path: str | Path, keep_gps: bool = False) -> Source:
    """Read a raw picture with all that its corrected copies need.

    Raises
    ------
    BenchError
        If the file can't be read, is no raw picture, or is a corrected copy itself.
    """
    path = Path(path)
    if read_head(path).startswith((JPEG, PNG)):
        raise BenchError(f"{path.name}: is no raw file. Corrections need light as the sensor gave it.")
    if is_corrected_copy(path):
        raise BenchError(f"{path.name}: is a corrected copy already. Name the camera's own file.")
    shot, facts = load_raw_with_facts(path)
    strange = set(shot.colours) - {"red", "green", "blue", "grey"}
    if strange:
        raise BenchError(
            f"{path.name}: has the colours {', '.join(shot.channels)}, which can't be written as DNG."
        )
    recorded = read_recorded(path)
    first, exif, gps = _directories(path)
    white = _stated_white(facts, recorded.raw_page.white if recorded.raw_page else None)
    exposure = {item.code: item for item in [*_exposure_entries(shot), *_lens_entries(facts)]}
    colours = _colours(shot, first if recorded.is_dng else {}, facts)
    exposure |= {code: held[code] for held in (first, exif) for code in CARRIED_EXIF if code in held}
    camera = {item.code: item for item in _camera_entries(shot)}
    camera |= {code: first[code] for code in CARRIED_FIRST if code in first}
    lost = ["Where it was taken (GPS) could not be read from the file."] if keep_gps and not gps else []
    return Source(
        shot=replace(shot, white=max(white, shot.white)),
        clips_at=shot.white,
        first=[*camera.values(), entry(274, SHORT, shot.exposure.orientation)],
        exif=list(exposure.values()),
        gps=list(gps.values()) if keep_gps else [],
        colour=colours.entries,
        to_srgb=colours.to_srgb,
        balance=_balance(colours.neutral),
        caveats=[*colours.caveats, *lost],
    )


def _directories(path: Path) -> tuple[dict[int, Entry], dict[int, Entry], dict[int, Entry]]:
    """The file's directories; none where it is built in another way than TIFF."""
    try:
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
            return read_directories(content)
    except (ValueError, OSError):
        return {}, {}, {}


def _stated_white(facts: Facts, recorded: float | None) -> float:
    """The white level that the file or LibRaw states."""
    levels = [level for level in facts["whites"] if level > facts["white"] / 2]
    return float(recorded or min([facts["white"], *levels]))


# -- what the camera wrote down -------------------------------------------------------------------------------


def _camera_entries(shot: Shot) -> list[Entry]:
    camera = shot.exposure.camera or UNKNOWN_CAMERA
    moment = (shot.exposure.taken or "").replace("-", ":")[:19]
    entries = [entry(271, ASCII, camera.split()[0]), entry(272, ASCII, camera)]
    return [*entries, entry(306, ASCII, moment)] if moment else entries


def _exposure_entries(shot: Shot) -> list[Entry]:
    """What LibRaw found, for files whose own directories can't be read."""
    exposure = shot.exposure
    entries = [entry(36864, UNDEFINED, b"0232")]
    numbers = ((33434, exposure.shutter_s), (33437, exposure.f_number), (37386, exposure.focal_mm))
    entries += [entry(code, RATIONAL, value) for code, value in numbers if value]
    if exposure.iso:
        entries.append(entry(34855, SHORT, min(round(exposure.iso), 65535)))
    if exposure.taken:
        entries.append(entry(36867, ASCII, exposure.taken.replace("-", ":")[:19]))
    return entries


def _lens_entries(facts: Facts) -> list[Entry]:
    return [entry(code, ASCII, name) for code, name in zip((42035, 42036), facts["lens"], strict=True) if name]


# -- colours --------------------------------------------------------------------------------------------------

_SRGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""IEC 61966-2-1."""


class _Colours(NamedTuple):
    """What a camera's colours are: entries for a DNG, the matrix to linear sRGB, neutral light, caveats."""

    entries: list[Entry]
    to_srgb: NDArray[np.float64] | None
    neutral: NDArray[np.float64]
    caveats: list[str]


def _colours(shot: Shot, first: dict[int, Entry], facts: Facts) -> _Colours:
    """A camera's colours: from a DNG's own directory where there is one, else as LibRaw knows them."""
    carried = [first[code] for code in CARRIED_COLOUR if code in first]
    if _MODEL not in first:
        carried.append(entry(_MODEL, ASCII, shot.exposure.camera or UNKNOWN_CAMERA))
    if shot.colours == ("grey",):
        return _Colours([item for item in carried if item.code == _MODEL], None, np.ones(3), [])
    neutral = _as_shot(facts)
    if _COLOUR_MATRIX in first:
        if _NEUTRAL in first:
            neutral = np.array(values_of(first[_NEUTRAL]))
        else:
            carried.append(entry(_NEUTRAL, RATIONAL, neutral))
        return _Colours(carried, _camera_to_srgb(_daylight_matrix(first)), neutral, [])
    matrix, caveats = np.array(facts["xyz_to_camera"]), []
    if not matrix.any():
        matrix = np.linalg.inv(_SRGB_TO_XYZ)
        caveats.append("The camera's colours are not known, so they are taken as those of a screen.")
    entries = [
        *(item for item in carried if item.code == _MODEL),
        entry(_COLOUR_MATRIX, SRATIONAL, matrix.ravel()),
        entry(_NEUTRAL, RATIONAL, neutral),
        entry(_ILLUMINANT, SHORT, _D65),
    ]
    return _Colours(entries, _camera_to_srgb(matrix), neutral, caveats)


def _as_shot(facts: Facts) -> NDArray[np.float64]:
    """What neutral light is in the camera's colours, as shot, else in daylight; the largest is 1."""
    for factors in (facts["as_shot"], facts["daylight"]):
        known = np.array(factors, dtype=float)[:3]
        if (np.isfinite(known) & (known > 0)).all():
            return known.min() / known
    return np.ones(3)


def _daylight_matrix(first: dict[int, Entry]) -> NDArray[np.float64]:
    """Of a DNG's colour matrices that in daylight."""
    second = first.get(_ILLUMINANT_2)
    daylight = _COLOUR_MATRIX_2 if second is not None and values_of(second)[0] == _D65 else _COLOUR_MATRIX
    return np.array(values_of(first.get(daylight, first[_COLOUR_MATRIX]))[:9]).reshape(3, 3)


def _camera_to_srgb(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Balanced camera colours to linear sRGB: neutral light stays neutral."""
    srgb_to_camera = matrix @ _SRGB_TO_XYZ
    srgb_to_camera /= srgb_to_camera.sum(axis=1, keepdims=True)
    return np.linalg.inv(srgb_to_camera)


def _balance(neutral: NDArray[np.float64]) -> NDArray[np.float64]:
    return neutral.max() / neutral
