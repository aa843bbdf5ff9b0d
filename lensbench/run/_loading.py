"""Shots loaded by their entries in the session file; what can't be loaded becomes a notice and ends nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.findings import Notice, ShotDigest
from lensbench.loaders.guessing import guess_shows
from lensbench.loaders.session_keys import ShotEntry
from lensbench.loaders.shot_file import read_shot
from lensbench.run._stored_anew import is_stored_anew, thin_sample
from lensbench.shot import Shot


@dataclass(frozen=True)
class ShotFacts:
    """What the report says of the camera, from one shot, and how bright the shot is and how it was exposed.

    `light` is that of the brightest parts about the frame's middle, in numbers over black: of an even light, or of
    a sheet's white. `sample` is of its stored numbers, by which the same exposure is known again.
    """

    size: tuple[int, int]
    camera: str | None
    orientation: int
    light: float = 0.0
    shutter_s: float | None = None
    iso: float | None = None
    file: str = ""
    f_number: float | None = None
    sample: NDArray | None = None

    @classmethod
    def of(cls, shot: Shot) -> ShotFacts:
        """What a shot says."""
        exposure = shot.exposure
        return cls(
            size=shot.size,
            camera=exposure.camera,
            orientation=exposure.orientation,
            light=_light_about_the_middle(shot),
            shutter_s=exposure.shutter_s,
            iso=exposure.iso,
            file=shot.name,
            f_number=exposure.f_number,
            sample=thin_sample(shot),
        )


def _light_about_the_middle(shot: Shot) -> float:
    part = next(shot.sublattices(shot.reference))
    rows, columns = (slice(n // 3, n - n // 3, max(n // 300, 1)) for n in part.samples.shape)
    return float(np.percentile(part.samples[rows, columns], 90) - shot.black[part.colour_index])


def load_shots(
    folder: Path, entries: Sequence[ShotEntry]
) -> tuple[list[tuple[ShotEntry, Shot]], list[Notice], list[ShotDigest]]:
    """Load the shots of some entries.

    Parameters
    ----------
    folder : Path
        The session's folder.
    entries : sequence of ShotEntry
        The shots.

    Returns
    -------
    list of (ShotEntry, Shot)
        Those that can be loaded and have the first one's size.
    list of Notice
        What keeps the others from being used, and what makes figures incomparable.
    list of ShotDigest
        Of those loaded.
    """
    shots: list[tuple[ShotEntry, Shot]] = []
    notices: list[Notice] = []
    digests: dict[str, str] = {}
    for entry in entries:
        try:
            shot = read_shot(folder / entry.file, entry.encoding)
        except BenchError as error:
            notices.append(left_out(entry.file, str(error)))
            continue
        if shots and shot.size != shots[0][1].size:
            notices.append(other_size(entry.file, shot.size, shots[0][1].size))
            continue
        first = digests.setdefault(shot.digest(), entry.file)
        if first != entry.file:
            notices.append(same_picture(entry.file, first))
            continue
        again = [other.file for other, one in shots if is_stored_anew(thin_sample(one), thin_sample(shot))]
        if again:
            notices.append(same_picture(entry.file, again[0], STORED_ANEW))
            continue
        notices += _remarks(shot, entry)
        shots.append((entry, shot))
    return shots, notices, [ShotDigest(name, digest) for digest, name in digests.items()]


TO_THE_LAST_SAMPLE, STORED_ANEW = ", to the last sample", ", noise and all, stored in another way"
"""How a file may hold another's picture."""


def same_picture(name: str, other: str, again: str = TO_THE_LAST_SAMPLE) -> Notice:
    """The notice of a file that holds what another entry of the same kind holds; `again` says how."""
    text = (
        f"{name}: holds the same picture as {other}{again}, and is no repeat of it. Name the shot that belongs "
        "here, or take its [[shot]] out of session.toml."
    )
    return left_out(name, text)


def _remarks(shot: Shot, entry: ShotEntry) -> Iterator[Notice]:
    if shot.incomparable:
        yield Notice("incomparable", entry.file, f"{entry.file}: {shot.incomparable}")


def left_out(name: str, text: str) -> Notice:
    """The notice of a shot that is left out."""
    return Notice("left-out", name, f"{text} It is left out.")


def other_size(name: str, size: tuple[int, int], usual: tuple[int, int]) -> Notice:
    """The notice of a shot of another size than the rest."""
    advice = "Shoot a session with one camera, uncropped."
    if size == usual[::-1]:
        advice = "Some program turned it; take the file as the camera stored it."
    text = "{}: has {} × {} pixels, the other shots {} × {}. {}"
    return left_out(name, text.format(name, *size, *usual, advice))


def resemblance(shot: Shot, entry: ShotEntry) -> str:
    """What a shot that doesn't show what it should looks like instead, as the end of a sentence; maybe nothing."""
    guess = guess_shows(shot)
    if guess is None or guess == entry.shows:
        return ""
    return f'; it looks like {_LOOKS[guess]}, so mend shows = "{guess}" in session.toml'


_LOOKS = {"target": "the set-square target", "flat": "an even light", "dark": "a shot with the cap on"}
