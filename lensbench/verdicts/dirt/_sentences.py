"""Where dirt lies, from which aperture on it shows, and which shots would tell more, in words."""

from __future__ import annotations

from collections import Counter

from lensbench.findings import UNTOLD, TracedMark
from lensbench.formatting import listed

TURN_WOULD_TELL = "a flat with the lens turned in its mount (lens_turn_deg) would tell"
PANEL_WOULD_TELL = "a flat with the light panel moved (panel = 2) would tell"

_SHOTS = {
    TURN_WOULD_TELL: (
        "Shoot a flat with the lens turned in its mount as well (lens_turn_deg): dirt that turns along is on the "
        "lens, dirt that stays is on the sensor."
    ),
    PANEL_WOULD_TELL: (
        "Shoot a flat with the light panel moved as well (panel = 2): dirt that moves along is on the panel, dirt "
        "that stays is in lens or camera."
    ),
}
"""The shots to take, by what a mark's evidence lacks."""

MAYBE_LIGHT = (
    "A patch may be unevenness of the light and not a smear: before wiping, see whether it stays when the light "
    "panel is moved."
)


def places_in_words(marks: list[TracedMark]) -> str:
    """How many marks lie where; nothing of no marks."""
    counts = Counter(mark.lies_on for mark in marks)
    unknown = counts.pop(UNTOLD, 0)
    if not counts:
        return f"What {'it lies' if unknown == 1 else 'they lie'} on is not known." if unknown else ""
    places = [(count, f"on the {place.replace(' or ', ' or the ')}") for place, count in counts.most_common()]
    (first, where), *others = places
    if first == len(marks):
        whole = {1: "It lies", 2: "Both marks lie"}.get(first, f"All {first} marks lie")
        return f"{whole} {where}."
    said = [f"{first} of the {len(marks)} marks lie{'s' * (first == 1)} {where}"]
    said += [f"{count} {where}" for count, where in others]
    rest = "the other one lies" if unknown == 1 else f"the other {unknown} lie"
    return listed(said) + (f"; what {rest} on is not known." if unknown else ".")


def further_shots(marks: list[TracedMark]) -> list[str]:
    """Which further shots would show what the marks lie on."""
    shots = [shot for hint, shot in _SHOTS.items() if any(hint in mark.evidence for mark in marks)]
    soft = any(mark.kind == "patch" and PANEL_WOULD_TELL in mark.evidence for mark in marks)
    return shots + ([MAYBE_LIGHT] if soft else [])


def apertures_in_words(marks: list[TracedMark]) -> str:
    """From which aperture on marks show, where wider ones don't show them."""
    late = Counter(mark.shows_from for mark in marks if mark.shows_from)
    said = [f"{count} show{'s' * (count == 1)} only from {label} on" for label, count in late.items()]
    return f"{listed(said)}." if said else ""
