"""Builds against each other, in sentences: which is better, in what, and what can't be told apart yet."""

from __future__ import annotations

from collections.abc import Iterator

from lensbench.findings import UNTOLD
from lensbench.findings.build import Build
from lensbench.findings.comparison import BuildChange, ComparedAperture, Difference
from lensbench.formatting import brief, limit, listed, with_interval
from lensbench.reporter.values.zones import in_the

SHORT = {
    "better": "Better",
    "worse": "Worse",
    "mixed": "Better in some, worse in others",
    "different": "Different in size alone",
    "no difference": "No difference that setting up anew would not make as well",
    UNTOLD: "Can't be told apart yet",
}
"""The answers in a few words."""

_NAMES = {
    "sharpness": "sharpness",
    "softer right": "right softer than left",
    "softer bottom": "bottom softer than top",
    "fringing": "fringing",
    "falloff": "falloff",
    "magnification": "magnification",
    "distortion": "distortion",
    "marks": "marks of dirt",
}

_PARTS = {"frame": "whole frame", "corners": "corners"}


def answer_of(change: BuildChange) -> str:
    """The answer in a few words; two builds that were refused have none."""
    return SHORT[change.answer] if change.apertures else "Can't be compared"


def figure_name(one: Difference) -> str:
    """What a difference is of: ``sharpness, corners`` or ``red fringing, whole frame``."""
    colour = f"{one.channel} " if one.what == "fringing" else ""
    return f"{colour}{_NAMES.get(one.what, one.what)}, {_PARTS.get(one.part, one.part.replace('-', ' '))}"


def result_in_short(one: Difference) -> str:
    """What a difference means: ``better``, ``worse``, ``differs``, or that it is zero within the uncertainty."""
    if not one.counts:
        return "too small to tell" if one.setups_known else "can't tell yet"
    return {True: "better", False: "worse", None: "differs"}[one.better]


def change_in_words(change: BuildChange) -> list[str]:
    """The answer in sentences, the conditions that were not alike apart."""
    if not change.apertures:
        return []
    said = [sentence for aperture in change.apertures for sentence in _counted(aperture)]
    if said:
        return said
    if change.answer == UNTOLD:
        return list(_untold(change))
    return [sentence for aperture in change.apertures for sentence in _no_difference(aperture)]


def what_was_changed(before: Build, after: Build) -> list[str]:
    """What the session files say of the change: parts that went or came, and the later build's notes."""
    gone = [part for part in before.parts if part not in after.parts]
    come = [part for part in after.parts if part not in before.parts]
    said = [f"{title}: {'; '.join(parts)}." for title, parts in (("Taken out", gone), ("New", come)) if parts]
    if after.notes and after.notes != before.notes:
        said.append(f"Notes: {after.notes}")
    return said or ["The session files name no change of parts and no notes."]


def build_in_short(build: Build) -> str:
    """A build's name with its date."""
    return f"{build.name} ({build.date})" if build.date else build.name


def _counted(aperture: ComparedAperture) -> Iterator[str]:
    """A sentence a headline figure that really differs, and one on the zones that do."""
    for one in aperture.headlines:
        if one.counts:
            yield (
                f"{aperture.aperture}: {figure_name(one)}: {result_in_short(one)}. {before_and_after(one)}, a "
                f"change of {with_interval(one.difference, signed=True)}; from "
                f"{limit(abs(one.smallest_difference or 0.0))} on it counts."
            )
    for better, word in ((True, "sharper"), (False, "softer")):
        zones = [
            in_the(z.part) for z in aperture.zones if z.what == "sharpness" and z.counts and z.better is better
        ]
        if zones:
            yield f"{aperture.aperture}: {word} in {_together(zones)}."


def before_and_after(one: Difference) -> str:
    """Such as ``24.5 → 34.3 lp/mm``: three digits are enough to see a change by."""
    return f"{brief(one.before, 3)} → {brief(one.after, 3)} {one.after.unit}"


def _together(zones: list[str]) -> str:
    """Zones in a sentence, the four corners as such."""
    corners = [zone for zone in zones if zone.endswith(" corner")]
    if len(corners) == 4:
        zones = [*(zone for zone in zones if zone not in corners), "all four corners"]
    return listed(zones)


def _untold(change: BuildChange) -> Iterator[str]:
    """Why nothing can be said yet, what differs most, and what would settle it."""
    yield (
        "Each build was set up once. Refocusing and remounting by themselves change figures, often by more than "
        "the ± of one setup, so these two can't be told apart yet."
    )
    for aperture in change.apertures:
        most = max(aperture.headlines, key=_in_half_widths, default=None)
        if most is not None and _in_half_widths(most) > 1:
            yield (f"What differs most at {aperture.aperture} is {figure_name(most)}: {before_and_after(most)}.")
    yield (
        "Shoot at least one of them again, refocused and remounted, as setup = 2, better both three times: the "
        "spread of the setups then tells what counts."
    )


def _no_difference(aperture: ComparedAperture) -> Iterator[str]:
    ours, theirs = aperture.setups
    yield (
        f"{aperture.aperture}: over {ours} and {theirs} setups no figure differs by more than setting up anew "
        "changes it."
    )
    if aperture.needed is not None:
        most = max(aperture.headlines, key=_towards_counting, default=None)
        if most is not None:
            yield (
                f"{aperture.aperture}: if the largest difference ({figure_name(most)}, "
                f"{with_interval(most.difference, signed=True)}) is real, about {aperture.needed} setups of each "
                "build would show it."
            )


def _in_half_widths(one: Difference) -> float:
    half = one.difference.half_width
    return abs(one.difference.value) / half if half > 0 else 0.0


def _towards_counting(one: Difference) -> float:
    return abs(one.difference.value) / abs(one.smallest_difference) if one.smallest_difference else 0.0
