"""The session's dark frames: each loaded once, and the mean kept of those of one exposure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import Notice, ShotDigest
from lensbench.loaders.guessing import why_no_darkness
from lensbench.loaders.session_keys import ShotEntry
from lensbench.run._loading import left_out, load_shots
from lensbench.shot import Shot

SAME_EXPOSURE = 0.05
"""Shutter times and ISO numbers that differ by less than this share are one: cameras record rounded ones."""


@dataclass(frozen=True, eq=False)
class MeanDark:
    """The mean of the dark frames of one exposure, and their files' names."""

    shot: Shot
    files: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Darks:
    """A session's dark frames, with what keeps some from being used."""

    means: list[MeanDark]
    notices: list[Notice]
    digests: list[ShotDigest]


@dataclass(frozen=True, eq=False)
class FittingDarks:
    """The dark frames that were exposed as a shot was, as means, and their files' names."""

    shots: list[Shot]
    files: tuple[str, ...]


def read_darks(folder: Path, entries: Sequence[ShotEntry], done: Callable[[str], object]) -> Darks:
    """Load the dark frames one after the other, and keep a mean of each exposure.

    Parameters
    ----------
    folder : Path
        The session's folder.
    entries : sequence of ShotEntry
        The dark frames.
    done : callable
        Told the name of each file read.

    Returns
    -------
    Darks
        A frame that isn't dark is left out, and so is one that can't be loaded.
    """
    means: dict[tuple, _RunningMean] = {}
    notices: list[Notice] = []
    digests: list[ShotDigest] = []
    for entry in entries:
        loaded, more, known = load_shots(folder, [entry])
        notices += more
        digests += known
        for _, shot in loaded:
            light = why_no_darkness(shot)
            if light is None:
                means.setdefault(_kind(shot), _RunningMean(shot)).add(entry.file, shot)
            else:
                advice = "Put the cap on, or mend shows = … in session.toml."
                notices.append(left_out(entry.file, f"{entry.file}: {light} {advice}"))
        done(entry.file)
    return Darks([one.mean() for one in means.values()], notices, digests)


def fitting_darks(shot: Shot, darks: Sequence[MeanDark]) -> FittingDarks:
    """The dark frames of a shot's size, colours and exposure, as far as the camera recorded it."""
    fitting = [dark for dark in darks if _fits(dark.shot, shot)]
    return FittingDarks([dark.shot for dark in fitting], tuple(name for dark in fitting for name in dark.files))


def _kind(shot: Shot) -> tuple:
    """What dark frames that can be averaged have in common."""
    pattern = None if shot.pattern is None else (shot.pattern.shape, shot.pattern.tobytes())
    levels = shot.black.tobytes(), shot.gain.tobytes(), shot.white
    return shot.samples.shape, shot.colours, pattern, levels, shot.exposure.shutter_s, shot.exposure.iso


def _fits(dark: Shot, shot: Shot) -> bool:
    if dark.size != shot.size or dark.channels != shot.channels:
        return False
    pairs = [(getattr(dark.exposure, name), getattr(shot.exposure, name)) for name in ("shutter_s", "iso")]
    return all(a is None or b is None or abs(a / b - 1) < SAME_EXPOSURE for a, b in pairs)


class _RunningMean:
    """The mean of dark frames that are added one by one, so that only one more is in memory."""

    def __init__(self, first: Shot) -> None:
        self._first = first
        self._files: list[str] = []
        # A single frame is kept as it is stored, which takes half the memory of a mean.
        self._sum: NDArray[Any] = first.samples

    def add(self, name: str, shot: Shot) -> None:
        self._files.append(name)
        if shot is self._first:
            return
        # Whole numbers of 16 bits can't overflow a sum in 32.
        small = shot.samples.dtype.kind == "u" and shot.samples.dtype.itemsize <= 2
        self._sum = self._sum.astype(np.uint32 if small else np.float64, copy=False) + shot.samples

    def mean(self) -> MeanDark:
        count = len(self._files)
        samples = self._sum if count == 1 else (self._sum / np.float64(count)).astype(np.float32)
        return MeanDark(replace(self._first, samples=samples), tuple(self._files))
