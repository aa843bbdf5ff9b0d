"""Is the glass clean? The marks of one flat, in words."""

from __future__ import annotations

import msgspec

from lensbench.findings import Dust, Mark
from lensbench.verdicts.dirt._faces import PICTURE, where_to_look, words_on

CAUTIONS = (
    "Blow first, wipe last: grit under a cloth scratches coatings.",
    "Front or rear glass: a soft lens tissue, a drop of lens cleaner on the tissue, never on the glass.",
    "Solvents attack coatings, cement and paint: fresh air, no flame, never mix cleaners; rags wet with solvent "
    "burn. Bare glass has sharp edges. Some old glass is leaded or radioactive: don't grind or sand it, wash your "
    "hands, bag broken pieces. Local rules and licensed practice come first.",
    "Sensor: a blower only; anything more is for somebody trained for it.",
)
"""Cautions when cleaning (common practice)."""


class Cleanliness(msgspec.Struct, frozen=True):
    """The answer for one flat: clean or not, and a sentence for each mark, the most visible first."""

    clean: bool
    marks: list[Mark]
    sentences: list[str]


def judge_cleanliness(dust: Dust, size: tuple[int, int]) -> Cleanliness:
    """Say what the marks of one flat mean for the user.

    One flat can't tell on which glass a mark lies, so each sentence gives the places where it would be found.

    Parameters
    ----------
    dust : Dust
        The marks of the flat.
    size : (int, int)
        Width and height of the frame in pixels.
    """
    return Cleanliness(not dust.marks, dust.marks, [_sentence(mark, size) for mark in dust.marks])


def mark_in_words(mark: Mark) -> str:
    """Kind, size and depth of a mark, such as ``spot, 12 px wide, 3.1 % darker``."""
    shade = "darker" if mark.depth_percent.value >= 0 else "brighter"
    extent = f"{mark.width_px.value:.0f} px wide"
    if mark.kind == "fibre":
        extent += f", {mark.length_px.value:.0f} px long"
    return f"{mark.kind}, {extent}, {abs(mark.depth_percent.value):.1f} % {shade}"


def _sentence(mark: Mark, size: tuple[int, int]) -> str:
    picture = words_on(PICTURE, mark, size)
    return f"a {mark_in_words(mark)}, {picture} of the picture; {where_to_look(mark, size)}"
