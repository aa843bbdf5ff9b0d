"""What is said of dirt whose shadows stay in a picture, and which shot would show what it lies on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from lensbench.findings import UNTOLD, Mark
from lensbench.formatting import listed
from lensbench.verdicts.dirt import LENS, PANEL, SENSOR

TURN = "with the lens turned in its mount (lens_turn_deg = 90)"
MOVE = "with the light panel moved (panel = 2)"


def dirt_left_in_words(marks: Sequence[Mark]) -> list[str]:
    """A sentence for each thing that marks lie on, of those whose shadows are not taken out.

    Parameters
    ----------
    marks : sequence of Mark
        Those of a flat that was taken as the picture, without those whose shadows are taken out.
    """
    counts = Counter(mark.lies_on or UNTOLD for mark in marks)
    return [_sentence(lies_on, count) for lies_on, count in counts.most_common()]


def _sentence(lies_on: str, count: int) -> str:
    stay, they = ("1 mark of dirt stays", "it lies") if count == 1 else (f"{count} marks of dirt stay", "they lie")
    things = lies_on.split(" or ")
    where = f"{they} on the {' or the '.join(things)}"
    if things == [SENSOR]:
        return f"{stay}: too deep for anything to be lifted, or brighter than what is around."
    if lies_on != UNTOLD and SENSOR not in things:
        return f"{stay}, since {where}: only shadows of the sensor's own dirt are the same in every picture."
    others = [LENS, PANEL] if lies_on == UNTOLD else [thing for thing in things if thing != SENSOR]
    ways = [MOVE if thing == PANEL else TURN for thing in others]
    return (
        f"{stay}, since {f'what {they} on is not known' if lies_on == UNTOLD else where}: only shadows of what "
        f"surely lies on the sensor are taken out. A flat {listed(list(dict.fromkeys(ways)))} would tell."
    )
