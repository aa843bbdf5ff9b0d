"""What a session's shots leave open, and which shots would answer it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from lensbench.figure import Figure
from lensbench.findings import Setting
from lensbench.formatting import aperture_name, listed
from lensbench.loaders.session_keys import ShotEntry
from lensbench.verdicts.focus import advise_rail
from lensbench.watch._looks import Look

CLOSE_UP = 1 / 3
"""From this magnification on no single focusing is good enough: a rail series is needed."""

SMALL_APERTURE = 8.0
"""Dirt shows from about here on (common practice)."""


class OpenQuestion(msgspec.Struct, frozen=True):
    """A question that the shots don't answer, and the shots that would; `code` is what it is known by."""

    code: str
    question: str
    shots: str


def open_questions(
    entries: Sequence[ShotEntry], looks: Sequence[Look], pupil_ratio: float = 1.0
) -> list[OpenQuestion]:
    """What the shots of a session leave open, what is missing for the figures first.

    Parameters
    ----------
    entries : sequence of ShotEntry
        What the session file says of the shots.
    looks : sequence of Look
        A look at each.
    pupil_ratio : float
        Exit pupil over entrance pupil.
    """
    targets = [entry for entry in entries if entry.shows == "target"]
    flats = [entry for entry in entries if entry.shows == "flat"]
    told = all(entry.f_number is not None or entry.aperture is not None for entry in [*targets, *flats])
    # While apertures are still to be written down nobody can say which of them are missing.
    found = [*(_pairs(targets, flats) if told else []), *_rail(targets, looks, pupil_ratio)]
    if targets or flats:
        found += [
            *_linearity(targets or flats),
            *_turns(targets or flats),
            *_panels(flats),
            *_repeats(targets or flats),
        ]
    return [*found, *(_apertures(targets, flats) if told else [])]


def _pairs(targets: Sequence[ShotEntry], flats: Sequence[ShotEntry]) -> Iterator[OpenQuestion]:
    """Apertures at which one of the two sheets is missing."""
    at_target, at_flat = ({_aperture(entry): None for entry in some} for some in (targets, flats))
    if targets and (bare := [name for name in at_target if name not in at_flat]):
        yield OpenQuestion(
            "flat", f"How dark are the corners at {listed(bare)}, and is the glass clean?", "a flat there"
        )
    if flats and (bare := [name for name in at_flat if name not in at_target]):
        yield OpenQuestion("target", f"How sharp is it at {listed(bare)}?", "a target shot there")


def _rail(targets: Sequence[ShotEntry], looks: Sequence[Look], pupil_ratio: float) -> Iterator[OpenQuestion]:
    if not targets or len({entry.rail_mm for entry in targets if entry.rail_mm is not None}) > 1:
        return
    known = [look for look in looks if look.magnification]
    magnification = max((look.magnification or 0.0 for look in known), default=0.0)
    question = "Is every part of the field in focus at once, and is the lens or the sheet leaning?"
    if magnification >= CLOSE_UP:
        question = f"How sharp is it really? At {magnification:.2g}× no single focusing is good enough."
    steps = ""
    look = next((one for one in known if one.f_number and one.magnification == magnification), None)
    if look is not None:
        setting = Setting(f_number=look.f_number, magnification=Figure.of(magnification, 0.0, "×"))
        advice = advise_rail(setting, pupil_ratio)
        if advice is not None:
            steps = f": {advice.shots} of them, {advice.step_mm:g} mm apart at f/{look.f_number:g}"
    yield OpenQuestion("rail", question, f"the target along a rail, focus untouched, each with its rail_mm{steps}")


def _linearity(entries: Sequence[ShotEntry]) -> Iterator[OpenQuestion]:
    """Nothing tells a mild tone curve from a lens but the noise of two shots taken alike."""
    if len({(_aperture(entry), entry.rail_mm, entry.lens_turn_deg) for entry in entries}) == len(entries):
        yield OpenQuestion(
            "linearity",
            "Are the stored numbers proportional to the light?",
            f"one {entries[0].shows} shot twice in a row, nothing touched",
        )


def _turns(entries: Sequence[ShotEntry]) -> Iterator[OpenQuestion]:
    if len({entry.lens_turn_deg % 360 for entry in entries}) < 2:
        yield OpenQuestion(
            "turn",
            "Is an uneven corner the lens's doing, or the sheet's and the camera's?",
            "target and flat again with the lens turned in its mount (lens_turn_deg = 90 or 180)",
        )


def _panels(flats: Sequence[ShotEntry]) -> Iterator[OpenQuestion]:
    if flats and len({entry.panel for entry in flats}) < 2:
        yield OpenQuestion(
            "panel",
            "How much of the falloff is the light's own?",
            "the flat with its light moved by a quarter of the frame, twice, and once turned half round "
            "(panel = 2, 3, 4; panel_turn_deg = 180)",
        )


def _repeats(entries: Sequence[ShotEntry]) -> Iterator[OpenQuestion]:
    if len({entry.setup for entry in entries}) < 2:
        yield OpenQuestion(
            "repeat",
            "From which difference on is another build really better?",
            "all of it again, refocused and remounted (setup = 2)",
        )


def _apertures(targets: Sequence[ShotEntry], flats: Sequence[ShotEntry]) -> Iterator[OpenQuestion]:
    if targets and len({_aperture(entry) for entry in targets}) < 2:
        yield OpenQuestion("aperture", "Which aperture is best?", "target and flat at two more apertures")
    numbers = [entry.f_number for entry in flats if entry.f_number is not None]
    if flats and numbers and max(numbers) < SMALL_APERTURE:
        yield OpenQuestion(
            "small-aperture", "Which dirt shows only stopped down?", "a flat at f/11 or smaller, or the smallest"
        )


def _aperture(entry: ShotEntry) -> str:
    return aperture_name(entry.f_number, entry.aperture)
