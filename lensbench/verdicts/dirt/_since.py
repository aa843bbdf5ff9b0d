"""What wiping did: the marks of one flat held against those of an earlier one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import msgspec
import numpy as np

from lensbench.findings import Mark
from lensbench.formatting import aperture_name
from lensbench.frame import half_diagonal, place_in_words
from lensbench.verdicts.dirt._cleanliness import mark_in_words
from lensbench.verdicts.dirt._pairs import common_move, pair_marks

APERTURE_RATIO = 1.12
"""f-numbers further apart than a third of a stop are different apertures."""

FAINT = 9.0
"""Signal to noise under which a mark may come and go with the noise."""

WIPED_ASIDE = 0.3
"""How far wiping may move a mark, as a share of the half-diagonal, to be taken for the same one (chosen by
experience)."""

LIKE_WIDTH, LIKE_DEPTH = 1.3, 1.5
"""How much a mark that was wiped aside may have changed."""

FAINTER = 1.5
"""A mark that stayed counts as changed when its depth did by this factor."""

MANY = 3
"""So many marks that moved alike were moved with the light or the lens."""


class Flat(NamedTuple):
    """A flat as it is compared: its name, frame size, f-number or the aperture's name if known, and marks."""

    name: str
    size: tuple[int, int]
    f_number: float | None
    marks: Sequence[Mark]
    aperture: str | None = None


class MovedMark(msgspec.Struct, frozen=True):
    """A mark that seems to have moved: the earlier flat's, and its number in the later one, from 1 on."""

    earlier: Mark
    now: int


class Since(msgspec.Struct, frozen=True):
    """What changed since an earlier flat.

    `new` and `stayed` hold numbers of marks in the later flat, from 1 on; `gone` the earlier flat's marks.
    `sentences` say all that, `notes` what makes the comparison unsure, or impossible.
    """

    earlier: str
    new: list[int] = []
    stayed: list[int] = []
    gone: list[Mark] = []
    moved: list[MovedMark] = []
    sentences: list[str] = []
    notes: list[str] = []


def changed_since(earlier: Flat, now: Flat) -> Since:
    """Say what is new, gone, and moved since an earlier flat.

    Parameters
    ----------
    earlier, now : Flat
        The two flats. Of different frame sizes nothing can be said but that.
    """
    if earlier.size != now.size:
        text = (
            f"{earlier.name} has {earlier.size[0]} × {earlier.size[1]} pixels, {now.name} {now.size[0]} × "
            f"{now.size[1]}: they can't be compared. Shoot both with one camera, uncropped."
        )
        return Since(earlier.name, notes=[text])
    alike, notes = _taken_alike(earlier, now)
    stayed = pair_marks(earlier.marks, now.marks, now.size, alike=False)
    rest = [mark for number, mark in enumerate(earlier.marks) if number not in stayed]
    fresh = [number for number in range(len(now.marks)) if number not in stayed.values()]
    together = _moved_together(rest, [now.marks[number] for number in fresh], now.size)
    if together:
        notes.append(
            f"{together} marks moved by the same amount: the light, or the lens in its mount, was moved; wiping "
            "doesn't do that."
        )
    aside = _wiped_aside(rest, [now.marks[number] for number in fresh], now.size) if alike else {}
    moved = [MovedMark(rest[old], fresh[new] + 1) for old, new in aside.items()]
    new = [number + 1 for place, number in enumerate(fresh) if place not in aside.values()]
    gone = [mark for place, mark in enumerate(rest) if place not in aside]
    sentences = [
        *(f"gone: {_described(mark, now.size)}{_doubt(mark)}" for mark in gone),
        *(_moved_sentence(mark, now) for mark in moved),
        *(f"new: mark {n}, {_described(now.marks[n - 1], now.size)}{_doubt(now.marks[n - 1])}" for n in new),
        *(_changed(earlier.marks[old], number + 1, now) for old, number in stayed.items() if alike),
    ]
    still = sorted(number + 1 for number in stayed.values())
    return Since(earlier.name, new, still, gone, moved, [text for text in sentences if text], notes)


def _taken_alike(earlier: Flat, now: Flat) -> tuple[bool, list[str]]:
    """Whether the flats were taken at one aperture as far as is known, and what to say of it."""
    labels = [aperture_name(flat.f_number, flat.aperture) for flat in (earlier, now)]
    if earlier.f_number is None or now.f_number is None:
        if earlier.aperture is None or now.aperture is None:
            return True, [
                "The aperture isn't recorded: the comparison is good only if both were taken at the same one. "
                "Say it in session.toml beside the shots."
            ]
        alike = earlier.aperture == now.aperture
    else:
        ratio = max(earlier.f_number, now.f_number) / min(earlier.f_number, now.f_number)
        alike = ratio < APERTURE_RATIO
    if alike:
        return True, []
    text = (
        f"{earlier.name} was taken at {labels[0]}, {now.name} at {labels[1]}: dirt shows more "
        "as the iris closes, so the aperture alone may make marks come and go. Shoot both at the same one."
    )
    return False, [text]


def _moved_together(first: list[Mark], second: list[Mark], size: tuple[int, int]) -> int:
    """How many marks moved by one common way; 0 where they are too few to tell."""
    move = common_move(first, second, size, 0.0, half_diagonal(size))
    count = len(pair_marks(first, second, size, move))
    return count if count >= MANY else 0


def _wiped_aside(first: list[Mark], second: list[Mark], size: tuple[int, int]) -> dict[int, int]:
    """Marks that are gone, paired with new ones like them not too far away, the nearest first."""
    pairs: dict[int, int] = {}
    ways = [
        (np.hypot(one.x - other.x, one.y - other.y), i, j)
        for i, one in enumerate(first)
        for j, other in enumerate(second)
        if _look_alike(one, other)
    ]
    for way, i, j in sorted(ways):
        if way < WIPED_ASIDE * half_diagonal(size) and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return pairs


def _look_alike(one: Mark, other: Mark) -> bool:
    """Whether two marks can be one by kind, size and depth."""
    depths = one.depth_percent.value / other.depth_percent.value
    widths, lengths = (getattr(one, f).value / getattr(other, f).value for f in ("width_px", "length_px"))
    sizes = max(abs(np.log(widths)), abs(np.log(lengths))) < np.log(LIKE_WIDTH)
    return one.kind == other.kind and sizes and depths > 0 and abs(np.log(depths)) < np.log(LIKE_DEPTH)


def _described(mark: Mark, size: tuple[int, int]) -> str:
    return f"a {mark_in_words(mark)}, {place_in_words(mark.x, mark.y, size)} of the picture"


def _doubt(mark: Mark) -> str:
    return " (so faint that noise may hide or show it)" if mark.signal_to_noise < FAINT else ""


def _moved_sentence(moved: MovedMark, now: Flat) -> str:
    mark, old = now.marks[moved.now - 1], moved.earlier
    way = np.hypot(mark.x - old.x, mark.y - old.y)
    return (
        f"probably moved: mark {moved.now}, a {mark_in_words(mark)}, by {way:.0f} px, from "
        f"{place_in_words(old.x, old.y, now.size)} of the picture to {place_in_words(mark.x, mark.y, now.size)}"
    )


def _changed(old: Mark, number: int, now: Flat) -> str:
    """What to say of a mark that stayed: nothing, unless its depth changed much."""
    before, after = abs(old.depth_percent.value), abs(now.marks[number - 1].depth_percent.value)
    if max(before, after) < FAINTER * min(before, after):
        return ""
    return f"{'fainter' if after < before else 'deeper'}: mark {number}, {before:.1f} % then, {after:.1f} % now"
