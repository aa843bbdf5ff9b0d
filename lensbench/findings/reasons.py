"""Why an edge has no figures, or is not used: one enumeration, with what to do about each."""

from __future__ import annotations

from enum import StrEnum


class Reason(StrEnum):
    """Why an edge could not be measured, or was rejected; its value is what reports say. `NONE` is false."""

    NONE = ""
    # Found before its profile is fitted:
    TOO_SMALL = "too small in the picture"
    OUTSIDE = "too little of it in the frame"
    CLIPPED = "clipped"
    NO_CONTRAST = "no contrast"
    TOO_SHORT = "too short for its blur"
    # Found by the fit:
    ALONG_ROWS = "runs along the rows of pixels"
    TOO_BLURRED = "blurred beyond measure"
    TOO_NOISY = "drowned in noise"
    # Found beside its neighbours:
    SHARPER = "sharper than the edges around it"
    SOFTER = "softer than the edges around it"
    # Lines that are not clean straight edges:
    RAGGED = "ragged"
    BENT = "bent"
    DARK_SIDE = "its dark side is even for too few pixels"
    BRIGHT_SIDE = "its bright side is even for too few pixels"
    SEVERAL_STEPS = "more than one step, or a line beside it"
    COLOURS_DIFFER = "its colours show different steps"
    CONTRADICTORY = "its figures contradict each other"


REMEDIES = {
    Reason.TOO_SMALL: "use a longer edge, or come nearer",
    Reason.OUTSIDE: "move the blade further into the frame",
    Reason.CLIPPED: "expose 2/3 of a stop less",
    Reason.NO_CONTRAST: "put the blade before a bright, even light",
    Reason.TOO_SHORT: "show a longer piece of it, or focus",
    Reason.ALONG_ROWS: "turn the blade by 3 to 10 degrees against the frame",
    Reason.TOO_BLURRED: "focus first",
    Reason.TOO_NOISY: "more light, or a lower ISO",
    Reason.RAGGED: "use a cleaner edge; it must be straight as a razor's",
    Reason.BENT: "use a straight edge",
    Reason.DARK_SIDE: "keep other edges, folds and reflections away from it",
    Reason.BRIGHT_SIDE: "keep other edges, folds and reflections away from it",
    Reason.SEVERAL_STEPS: "use a bare edge, black against an even light",
    Reason.COLOURS_DIFFER: "use a black edge, not a coloured one, against an even light",
    Reason.CONTRADICTORY: "use a bare, black edge against an even light",
}
"""What to do about a free edge, such as a blade's, that can't be used."""
