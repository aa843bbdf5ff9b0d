"""Camera raw files to shots: the mosaic as the sensor gave it, through LibRaw."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.loaders._unpacked import FLAT, STACK, Facts, Unpacked
from lensbench.loaders.decoder import DecoderDied, crashed, decoder
from lensbench.loaders.levels import clipping_level, like_gains
from lensbench.loaders.opening import check_size, read_head
from lensbench.loaders.recorded import RawPage, Recorded, read_recorded
from lensbench.shot import Exposure, Shot

_COLOUR_NAMES = {"R": "red", "G": "green", "B": "blue", "C": "cyan", "M": "magenta", "Y": "yellow", "E": "emerald"}

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
    return load_raw_with_facts(path).shot


class Loaded(NamedTuple):
    """A raw file's shot, and what LibRaw tells of the file besides."""

    shot: Shot
    facts: Facts


def load_raw_with_facts(path: str | Path) -> Loaded:
    """As `load_raw`, with what LibRaw tells of the file besides."""
    path = Path(path)
    head = read_head(path)
    recorded = read_recorded(path)
    _check_recorded(path.name, recorded)
    raw = _unpacked(path)
    _check_sensor_data(path.name, raw, recorded)
    shot = _with_recorded_levels(_as_unpacked(path.name, raw), raw, recorded.raw_page)
    exposure = _exposure(raw, recorded.exposure)
    reduced = raw.facts["kind"] == STACK and not recorded.is_dng and not head.startswith(b"FOVb")
    if shot.white <= shot.black.max():
        raise BenchError(
            f"{path.name}: says that white ({shot.white:g}) lies at or under black ({shot.black.max():g}). It is "
            "damaged, or a converter has written it wrongly; use the camera's own raw file."
        )
    shot = replace(shot, exposure=exposure, incomparable=_incomparable(recorded.raw_page, reduced))
    shot = replace(shot, white=clipping_level(shot))
    return Loaded(replace(shot, gain=like_gains(shot)), raw.facts)


def _check_recorded(name: str, recorded: Recorded) -> None:
    """Refuse what the file's own directory shows to be cut short or of an impossible size."""
    page = recorded.raw_page
    if page is None:
        return
    check_size(name, *page.size)
    # Only a DNG's byte counts can be trusted: LibRaw finds the samples of other makers' files in its own way.
    if recorded.is_dng and page.missing_bytes:
        raise BenchError(f"{name}: is cut short by {page.missing_bytes:,} bytes. Copy it from the card again.")


def _unpacked(path: Path) -> Unpacked:
    """The file as LibRaw unpacks it; what LibRaw objects to as a sentence."""
    try:
        head, samples = decoder.unpack(path)
    except DecoderDied as death:
        raise crashed(path.name, str(death)) from None
    if head.get("error") == "unsupported":
        raise BenchError(
            f"{path.name}: holds no raw sensor data that can be read here. Use the camera's own raw files, "
            "DNG or TIFF."
        )
    if "error" in head:
        raise BenchError(f"{path.name}: is damaged or cut short ({head['why']}). Copy it from the card again.")
    repeat = head.get("repeat")
    return Unpacked(head["facts"], samples, None if repeat is None else np.array(repeat, dtype=np.uint8))


def _check_sensor_data(name: str, raw: Unpacked, recorded: Recorded) -> None:
    """Refuse what LibRaw unpacks although it is no camera's mosaic or planes with square pixels."""
    facts = raw.facts
    if (facts["raw_width"], facts["raw_height"]) in recorded.plain_grey:
        raise BenchError(
            f"{name}: is an ordinary grey picture, not raw sensor data. Use the camera's raw file, or name it "
            ".tif to have it read as a picture."
        )
    if raw.samples is None:
        raise BenchError(
            f"{name}: holds its samples in a form that cannot be read as they are. Convert it to DNG."
        )
    if abs(facts["pixel_aspect"] - 1) > 0.01:
        raise BenchError(
            f"{name}: comes from a sensor whose pixels are not square ({facts['pixel_aspect']:.2f} : 1), so that "
            "nothing measured in pixels would hold. Use another camera."
        )
    check_size(name, facts["width"], facts["height"])


def _as_unpacked(name: str, raw: Unpacked) -> Shot:
    """The visible frame with the colours and levels that LibRaw tells."""
    letters, blacks, samples = raw.facts["letters"], raw.facts["black"], raw.samples
    if samples is None:
        raise BenchError(f"{name}: holds no samples that can be read. Convert it to DNG.")
    number = raw.facts["num_colors"]
    if raw.repeat is None:
        used, pattern = np.arange(number), None
    else:
        used, places = np.unique(raw.repeat, return_inverse=True)
        pattern = smallest_repeat(places.reshape(raw.repeat.shape).astype(np.uint8))
    colours = ("grey",) if number == 1 else tuple(_COLOUR_NAMES.get(letters[i], "") for i in used)
    if "" in colours:
        raise BenchError(f"{name}: has a colour filter of unknown colour ({letters}). Use another camera.")
    return Shot(
        name=name,
        samples=samples,
        pattern=pattern,
        colours=colours,
        black=np.array([blacks[i] for i in used], dtype=np.float64),
        white=_white(raw),
        gain=np.ones(len(colours)),
    )


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


def _white(raw: Unpacked) -> float:
    """The lowest level at which LibRaw says that a channel clips or stops being linear."""
    # Half of the range and less is no such level but something that LibRaw has misread.
    white = raw.facts["white"]
    return float(min([white, *(level for level in raw.facts["whites"] if level > white / 2)]))


def _with_recorded_levels(shot: Shot, raw: Unpacked, page: RawPage | None) -> Shot:
    """The shot with the levels of a DNG's own tags, which LibRaw rounds, or gives by colour only."""
    facts = raw.facts
    if (
        page is None
        or page.black is None
        or page.white is None
        or page.size != (facts["raw_width"], facts["raw_height"])
    ):
        return shot
    if page.mosaic != (facts["kind"] == FLAT) and shot.colours != ("grey",):
        return shot
    shot = replace(shot, white=page.white)
    if shot.pattern is None:
        return replace(shot, black=page.black.mean(axis=(0, 1)))
    # LibRaw may begin the visible frame a sample later than the file says, to keep the mosaic's phase.
    offset = (page.origin[0] - facts["top_margin"], page.origin[1] - facts["left_margin"])
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


def _exposure(raw: Unpacked, recorded: Exposure) -> Exposure:
    """The recorded facts, gaps filled with what LibRaw found."""
    facts = raw.facts
    found = {
        "shutter_s": facts["shutter_s"],
        "iso": facts["iso"],
        "f_number": facts["f_number"],
        "focal_mm": facts["focal_mm"],
        "taken": facts["taken"],
    }
    gaps: dict[str, Any] = {
        name: value for name, value in found.items() if getattr(recorded, name) is None and value is not None
    }
    return replace(recorded, orientation=_ORIENTATION.get(facts["flip"], 1), **gaps)


def _incomparable(page: RawPage | None, reduced: bool) -> str | None:
    """What was done to the samples since they left the sensor, as the end of a sentence about the file."""
    if page is not None and page.lossy:
        done = f"has samples compressed with loss ({page.lossy}), which changes the finest detail"
    elif reduced:
        done = "was made smaller by the camera, which mixes the pixels' light"
    elif page is not None and page.unstated:
        return _unstated(page.unstated)
    else:
        return None
    return f"{done}. Don't compare its figures with those from full raw files."


def _unstated(levels: tuple[str, ...]) -> str:
    """What to say of a DNG without levels: a flipped bit loses their tags, and every figure hangs on them."""
    taken = {"black": "0", "white": "the largest number that its bits hold"}
    lost = " and ".join(f"no {level} level (taken as {taken[level]})" for level in levels)
    return (
        f"states {lost}, so sharpness, falloff and glare may be wrong. Where the camera's other files state one, "
        "this one is damaged: copy it from the card again."
    )
