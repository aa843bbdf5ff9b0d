"""Camera raw files to shots: the mosaic as the sensor gave it, through LibRaw."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import rawpy
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.loaders.levels import clipping_level, like_gains
from lensbench.loaders.opening import check_size, read_head
from lensbench.loaders.recorded import RawPage, Recorded, read_recorded
from lensbench.shot import Exposure, Shot

_COLOUR_NAMES = {"R": "red", "G": "green", "B": "blue", "C": "cyan", "M": "magenta", "Y": "yellow", "E": "emerald"}

_REPEAT = 48
"""A multiple of every mosaic's repeat that LibRaw knows (2, 6, 8 and 16)."""

_ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
"""EXIF's orientation by LibRaw's `flip`."""


def load_raw(path: str | Path) -> Shot:
    """Load a camera's raw file as the sensor gave it: no demosaicing, no white balance, no scaling.

    Parameters
    ----------
    path : path
        A raw file of any camera that LibRaw knows, or a DNG.

    Returns
    -------
    Shot
        The visible frame's samples as stored. Places of the mosaic that have a black level of their own get a
        colour index of their own. `white` is where the samples really clip, where that shows, else the file's
        white level; `gain` brings the second green to the first.

    Raises
    ------
    BenchError
        If the file can't be read, is damaged or cut short, or holds no raw sensor data.
    """
    path = Path(path)
    head = read_head(path)
    recorded = read_recorded(path)
    _check_recorded(path.name, recorded)
    with _unpacked(path) as raw:
        _check_sensor_data(path.name, raw, recorded)
        shot = _with_recorded_levels(_as_unpacked(path.name, raw), raw, recorded.raw_page)
        exposure = _exposure(raw, recorded.exposure)
        reduced = raw.raw_type == rawpy.RawType.Stack and not recorded.is_dng and not head.startswith(b"FOVb")
    if shot.white <= shot.black.max():
        raise BenchError(
            f"{path.name}: says that white ({shot.white:g}) lies at or under black ({shot.black.max():g}). It is "
            "damaged, or a converter has written it wrongly; use the camera's own raw file."
        )
    shot = replace(shot, exposure=exposure, incomparable=_incomparable(recorded.raw_page, reduced))
    shot = replace(shot, white=clipping_level(shot))
    return replace(shot, gain=like_gains(shot))


def _check_recorded(name: str, recorded: Recorded) -> None:
    """Refuse what the file's own directory shows to be cut short or of an impossible size."""
    page = recorded.raw_page
    if page is None:
        return
    check_size(name, *page.size)
    # Only a DNG's byte counts can be trusted: LibRaw finds the samples of other makers' files in its own way.
    if recorded.is_dng and page.missing_bytes:
        raise BenchError(f"{name}: is cut short by {page.missing_bytes:,} bytes. Copy it from the card again.")


@contextlib.contextmanager
def _unpacked(path: Path) -> Iterator[rawpy.RawPy]:
    """The file opened and unpacked by LibRaw; what LibRaw objects to as a sentence."""
    with rawpy.RawPy() as raw:
        try:
            raw.open_file(str(path))
            raw.unpack()
        except (rawpy.LibRawFileUnsupportedError, rawpy.LibRawNotImplementedError):
            raise BenchError(
                f"{path.name}: holds no raw sensor data that can be read here. Use the camera's own raw files, "
                "DNG or TIFF."
            ) from None
        except (rawpy.LibRawError, MemoryError) as error:
            raise BenchError(
                f"{path.name}: is damaged or cut short ({_reason(error)}). Copy it from the card again."
            ) from None
        yield raw


def _reason(error: Exception) -> str:
    """LibRaw's own words, which come as bytes."""
    said = error.args[0] if error.args else "no reason given"
    said = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
    return said[:1].lower() + said[1:]


def _check_sensor_data(name: str, raw: rawpy.RawPy, recorded: Recorded) -> None:
    """Refuse what LibRaw unpacks although it is no camera's mosaic or planes with square pixels."""
    sizes = raw.sizes
    if (sizes.raw_width, sizes.raw_height) in recorded.plain_grey:
        raise BenchError(
            f"{name}: is an ordinary grey picture, not raw sensor data. Use the camera's raw file, or name it "
            ".tif to have it read as a picture."
        )
    if raw.raw_type not in (rawpy.RawType.Flat, rawpy.RawType.Stack) or raw.raw_image_visible is None:
        raise BenchError(
            f"{name}: holds its samples in a form that cannot be read as they are. Convert it to DNG."
        )
    if abs(sizes.pixel_aspect - 1) > 0.01:
        raise BenchError(
            f"{name}: comes from a sensor whose pixels are not square ({sizes.pixel_aspect:.2f} : 1), so that "
            "nothing measured in pixels would hold. Use another camera."
        )
    check_size(name, sizes.width, sizes.height)


def _as_unpacked(name: str, raw: rawpy.RawPy) -> Shot:
    """The visible frame with the colours and levels that LibRaw tells."""
    letters = raw.color_desc.decode("ascii", "replace")
    blacks = raw.black_level_per_channel
    if raw.raw_type == rawpy.RawType.Stack:
        used = np.arange(raw.num_colors)
        pattern, samples = None, raw.raw_image_visible[:, :, : raw.num_colors]
    else:
        samples = raw.raw_image_visible
        repeat = _repeat(raw) if raw.num_colors > 1 else np.zeros((1, 1), dtype=np.uint8)
        used, places = np.unique(repeat, return_inverse=True)
        pattern = smallest_repeat(places.reshape(repeat.shape).astype(np.uint8))
    colours = ("grey",) if raw.num_colors == 1 else tuple(_COLOUR_NAMES.get(letters[i], "") for i in used)
    if "" in colours:
        raise BenchError(f"{name}: has a colour filter of unknown colour ({letters}). Use another camera.")
    # The array belongs to LibRaw and goes when the file is closed.
    return Shot(
        name=name,
        samples=samples.copy(),
        pattern=pattern,
        colours=colours,
        black=np.array([blacks[i] for i in used], dtype=np.float64),
        white=_white(raw),
        gain=np.ones(len(colours)),
    )


def _repeat(raw: rawpy.RawPy) -> NDArray[np.uint8]:
    """LibRaw's colour indices of the visible frame's top left, a whole number of repeats."""
    rows = range(raw.sizes.top_margin, raw.sizes.top_margin + _REPEAT)
    columns = range(raw.sizes.left_margin, raw.sizes.left_margin + _REPEAT)
    return np.array([[raw.raw_color(row, column) for column in columns] for row in rows], dtype=np.uint8)


def smallest_repeat(pattern: NDArray) -> NDArray:
    """The smallest pattern that gives the same mosaic when repeated.

    Parameters
    ----------
    pattern : ndarray, shape (down, across)
        A whole number of repeats each way.
    """
    down, across = (
        next(n for n in range(1, size + 1) if size % n == 0 and np.array_equal(pattern, np.roll(pattern, n, axis)))
        for axis, size in enumerate(pattern.shape)
    )
    return np.ascontiguousarray(pattern[:down, :across])


def _white(raw: rawpy.RawPy) -> float:
    """The lowest level at which LibRaw says that a channel clips or stops being linear."""
    # Half of the range and less is no such level but something that LibRaw has misread.
    levels = [level for level in raw.camera_white_level_per_channel or [] if level > raw.white_level / 2]
    return float(min([raw.white_level, *levels]))


def _with_recorded_levels(shot: Shot, raw: rawpy.RawPy, page: RawPage | None) -> Shot:
    """The shot with the levels of a DNG's own tags, which LibRaw rounds, or gives by colour only."""
    sizes = raw.sizes
    if (
        page is None
        or page.black is None
        or page.white is None
        or page.size != (sizes.raw_width, sizes.raw_height)
    ):
        return shot
    if page.mosaic != (raw.raw_type == rawpy.RawType.Flat) and shot.colours != ("grey",):
        return shot
    shot = replace(shot, white=page.white)
    if shot.pattern is None:
        return replace(shot, black=page.black.mean(axis=(0, 1)))
    # LibRaw may begin the visible frame a sample later than the file says, to keep the mosaic's phase.
    offset = (page.origin[0] - sizes.top_margin, page.origin[1] - sizes.left_margin)
    return with_black_by_position(shot, shot.pattern, np.roll(page.black[:, :, 0], offset, axis=(0, 1)))


def with_black_by_position(shot: Shot, pattern: NDArray[np.uint8], black: NDArray[np.float64]) -> Shot:
    """A mosaic with a black level for each position of its repeat; a colour index is split where levels differ.

    Parameters
    ----------
    shot : Shot
        A mosaic.
    pattern : ndarray, shape (down, across)
        The shot's own.
    black : ndarray, shape (down, across)
        Black, repeated from the frame's top left.

    Returns
    -------
    Shot
    """
    shape = tuple(math.lcm(a, b) for a, b in zip(pattern.shape, black.shape, strict=True))
    index, level = (np.tile(a, (shape[0] // a.shape[0], shape[1] // a.shape[1])) for a in (pattern, black))
    pairs, places = np.unique(np.stack([index.ravel(), level.ravel()], axis=1), axis=0, return_inverse=True)
    return replace(
        shot,
        pattern=smallest_repeat(places.reshape(shape).astype(np.uint8)),
        colours=tuple(shot.colours[int(i)] for i in pairs[:, 0]),
        black=pairs[:, 1].copy(),
        gain=np.ones(len(pairs)),
    )


def _exposure(raw: rawpy.RawPy, recorded: Exposure) -> Exposure:
    """The recorded facts, gaps filled with what LibRaw found."""
    other = raw.other
    found = {
        "shutter_s": other.shutter_speed,
        "iso": other.iso_speed,
        "f_number": other.aperture,
        "focal_mm": other.focal_length,
    }
    gaps: dict[str, Any] = {
        name: float(value)
        for name, value in found.items()
        if getattr(recorded, name) is None and value is not None and 0 < value < math.inf
    }
    # The first year of the epoch is what LibRaw gives where there is no date.
    if recorded.taken is None and other.timestamp and other.timestamp.year > 1970:
        gaps["taken"] = other.timestamp.strftime("%Y-%m-%d %H:%M:%S")
    return replace(recorded, orientation=_ORIENTATION.get(raw.sizes.flip, 1), **gaps)


def _incomparable(page: RawPage | None, reduced: bool) -> str | None:
    """What was done to the samples since they left the sensor, as the end of a sentence about the file."""
    if page is not None and page.lossy:
        done = f"has samples compressed with loss ({page.lossy}), which changes the finest detail"
    elif reduced:
        done = "was made smaller by the camera, which mixes the pixels' light"
    else:
        return None
    return f"{done}. Don't compare its figures with those from full raw files."
