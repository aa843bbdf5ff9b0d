"""What each mark lies on, sensor, lens or light panel: what stays, turns and moves along, and how shadows blur."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from typing import NamedTuple

import numpy as np

from lensbench.findings import Camera, Dirt, Mark, Setting, Sighting, TracedMark
from lensbench.formatting import listed
from lensbench.frame import half_diagonal
from lensbench.verdicts.dirt._pairs import Move, common_move, pair_marks
from lensbench.verdicts.dirt._shadow_distance import UNKNOWN, Distance, shadow_distance

SENSOR, LENS, PANEL = "sensor", "lens", "light panel"
SURFACES = (SENSOR, LENS, PANEL)
"""What a mark can lie on."""

LENS_FRONT, LENS_REAR = "front of the lens", "rear of the lens"
"""Before and behind its iris, where that can be told."""

UNTOLD = "can't tell"

SENSOR_MM, LENS_MM = 5.0, 8.0
"""Nearer to the sensor than the first there is only its own glass; farther than the second none of it (common
practice: cover glass and filters are 1 to 4 mm thick, and the shutter runs right before them)."""

LEAST_TURN_DEG = 10.0
"""Smaller turns of the lens tell nothing."""

AXIS_OFF = 0.1
"""How far the mount's axis may pass from the frame's centre, as a share of the half-diagonal."""

PLAIN_SIGNAL = 12.0
"""A mark of at least this signal to noise is found again wherever it goes."""

TURN_TO_TELL = "a flat with the lens turned in its mount (lens_turn_deg) would tell"
PANEL_TO_TELL = "a flat with the light panel moved (panel = 2) would tell"

MAYBE_LIGHT = (
    "A patch may be unevenness of the light and not a smear: before wiping, see whether it stays when the light "
    "panel is moved."
)


class _Clue(NamedTuple):
    """What a comparison says of a mark: on which surfaces it can't lie, and why."""

    not_on: frozenset[str]
    why: str


STAYED = _Clue(frozenset({LENS}), "it stayed when the lens was turned")
TURNED = _Clue(frozenset({SENSOR, PANEL}), "it turned with the lens")
TURNED_OUT = _Clue(frozenset({SENSOR, PANEL}), "it was gone from there when the lens was turned")
FIXED = _Clue(frozenset({PANEL}), "it stayed when the panel was moved")
MOVED = _Clue(frozenset({SENSOR, LENS}), "it moved with the panel")
MOVED_OUT = _Clue(frozenset({SENSOR, LENS}), "it was gone from there when the panel was moved")


@dataclass
class _Trace:
    """One mark at the apertures that show it: numbers of settings, and of the mark in each."""

    sightings: dict[int, int]
    clues: list[_Clue] = field(default_factory=list)
    distance: Distance = UNKNOWN


def place_dirt(
    settings: Sequence[Setting], camera: Camera, exit_pupil_mm: float | None = None, pupil_ratio: float = 1.0
) -> Dirt | None:
    """Find out what every mark of a session lies on, and from which aperture on it shows.

    Parameters
    ----------
    settings : sequence of Setting
        In rising f-number. `place` and `evidence` of their marks are filled in.
    camera : Camera
        For the frame's size, and the pixels' where it is known.
    exit_pupil_mm : float, optional
        Distance from the sensor to the exit pupil; tells what lies before the iris from what lies behind it.
    pupil_ratio : float
        The exit pupil's width over the entrance pupil's.

    Returns
    -------
    Dirt or None
        The marks with the lens as it stood in the setting that shows the most; None where no flat was measured.
    """
    seen = [number for number, setting in enumerate(settings) if setting.dust is not None]
    if not seen:
        return None
    clues, notes = _comparisons(settings, seen, camera.size_px)
    fullest = max(seen, key=lambda number: len(settings[number].dust.marks))
    shown: list[TracedMark] = []
    for stand in dict.fromkeys(_stand(settings[number]) for number in seen):
        alike = [number for number in seen if _stand(settings[number]) == stand]
        traces = _traced(settings, alike, camera.size_px)
        for trace in traces:
            trace.clues = list(dict.fromkeys(clue for s in trace.sightings.items() for clue in clues.get(s, ())))
            trace.distance = _distance(trace, settings, alike, camera, pupil_ratio)
        told = [_told(trace, settings, alike, exit_pupil_mm) for trace in traces]
        for mark in told:
            for sighting in mark.sightings:
                same = settings[sighting.setting].dust.marks[sighting.mark]
                same.lies_on, same.evidence = mark.lies_on, mark.evidence
        if fullest in alike:
            shown = sorted(told, key=lambda mark: _rank(mark, fullest))
    return Dirt(shown, _places_in_words(shown), _apertures_in_words(shown), [*notes, *_shots_to_tell(shown)])


def _stand(setting: Setting) -> tuple[float, int]:
    """What shots have in common between which dirt stays where it is."""
    return setting.lens_turn_deg % 360, setting.setup


def _rank(mark: TracedMark, fullest: int) -> int:
    """Its number at the setting that shows the most marks; those not seen there come last."""
    return next((s.mark for s in mark.sightings if s.setting == fullest), 1_000_000)


# -- comparing flats ------------------------------------------------------------------------------------------


def _comparisons(
    settings: Sequence[Setting], seen: list[int], size: tuple[int, int]
) -> tuple[dict[tuple[int, int], list[_Clue]], list[str]]:
    """What turns of the lens and moves of the panel say of each mark (by setting and number), and notes."""
    clues: dict[tuple[int, int], list[_Clue]] = {}
    notes: list[str] = []

    def note(setting: int, found: Iterable[tuple[int, _Clue]]) -> None:
        for mark, clue in found:
            clues.setdefault((setting, mark), []).append(clue)

    for number in seen:
        dust = settings[number].dust
        for panel in dust.panels:
            note(number, _panel_clues(dust.marks, panel.marks, size))
    by_panel = {mark: list(found) for mark, found in clues.items()}
    for one, other in permutations(seen, 2):
        turn = _turn_between(settings[one], settings[other])
        if turn is not None:
            pair = settings[one].dust.marks, settings[other].dust.marks
            stayed = pair_marks(*pair, size)
            move = _turned_how(*_unpaired(*pair, stayed), turn, size)
            if move.turn_deg != turn and not notes:
                notes.append(
                    "The marks on the lens turned the other way than lens_turn_deg says: it is counted "
                    "anticlockwise as seen from behind the camera."
                )
            note(one, _turn_clues(*pair, stayed, move, size))
            # A mark that stayed is the same one: what the panel said of it there holds here.
            for mark, same in stayed.items():
                note(one, ((mark, clue) for clue in by_panel.get((other, same), ())))
    return clues, notes


def _turn_between(one: Setting, other: Setting) -> float | None:
    """By how much the lens was turned between two settings that are otherwise alike; None where they aren't."""
    turn = (other.lens_turn_deg - one.lens_turn_deg + 180) % 360 - 180
    alike = one.label == other.label and one.setup == other.setup
    return turn if alike and abs(turn) >= LEAST_TURN_DEG else None


def _turned_how(first: list[Mark], second: list[Mark], turn: float, size: tuple[int, int]) -> Move:
    """The move of marks that turned with the lens: about the mount's axis, perhaps off the frame's centre."""
    reach = 2 * np.sin(np.radians(abs(turn)) / 2) * AXIS_OFF * half_diagonal(size)
    moves = [common_move(first, second, size, way * turn, reach) for way in (1, -1)]
    return max(moves, key=lambda move: len(pair_marks(first, second, size, move)))


def _unpaired(first: list[Mark], second: list[Mark], stayed: dict[int, int]) -> tuple[list[Mark], list[Mark]]:
    """The marks of two flats without those that stayed."""
    left = [mark for number, mark in enumerate(first) if number not in stayed]
    return left, [mark for number, mark in enumerate(second) if number not in stayed.values()]


def _turn_clues(
    first: list[Mark], second: list[Mark], stayed: dict[int, int], move: Move, size: tuple[int, int]
) -> Iterator[tuple[int, _Clue]]:
    """What a turn of the lens says of each mark of the first flat."""
    turned = pair_marks(first, second, size, move)
    for number, mark in enumerate(first):
        goal = move.of(np.array([mark.x, mark.y]), size)
        if np.hypot(*(goal - (mark.x, mark.y))) < 2 * mark.width_px.value:
            continue  # So near the axis nothing goes far enough to tell.
        if number in stayed:
            yield number, STAYED
        elif number in turned and turned[number] not in stayed.values():
            yield number, TURNED
        elif mark.signal_to_noise >= PLAIN_SIGNAL and not _in_frame(goal, mark, size):
            yield number, TURNED_OUT


def _in_frame(place: np.ndarray, mark: Mark, size: tuple[int, int]) -> bool:
    """Whether a mark that went to a place, or nearly there, would show."""
    reach = AXIS_OFF / 2 * half_diagonal(size) + mark.width_px.value / 2
    return bool(np.all(place > -reach) and np.all(place < np.array(size) + reach))


def _panel_clues(first: list[Mark], second: list[Mark], size: tuple[int, int]) -> Iterator[tuple[int, _Clue]]:
    """What a move of the light panel says of each mark of the first flat."""
    stayed = pair_marks(first, second, size)
    rest = _unpaired(first, second, stayed)
    moved = pair_marks(*rest, size, common_move(*rest, size, 0.0, 2 * half_diagonal(size)))
    left = [number for number in range(len(first)) if number not in stayed]
    for number, mark in enumerate(first):
        if number in stayed:
            yield number, FIXED
        elif left.index(number) in moved:
            yield number, MOVED
        elif mark.signal_to_noise >= PLAIN_SIGNAL:
            yield number, MOVED_OUT


# -- through the apertures ------------------------------------------------------------------------------------


def _traced(settings: Sequence[Setting], alike: list[int], size: tuple[int, int]) -> list[_Trace]:
    """The marks of settings that differ in aperture alone, each followed from the narrowest one, where it is
    sharpest, to wider ones.
    """
    traces: list[_Trace] = []
    latest: list[Mark] = []
    for number in reversed(alike):
        marks = settings[number].dust.marks
        pairs = {new: old for old, new in pair_marks(latest, marks, size, alike=False).items()}
        for new, mark in enumerate(marks):
            if new in pairs:
                traces[pairs[new]].sightings[number] = new
                latest[pairs[new]] = mark
            else:
                traces.append(_Trace({number: new}))
                latest.append(mark)
    return traces


def _distance(
    trace: _Trace, settings: Sequence[Setting], alike: list[int], camera: Camera, pupil_ratio: float
) -> Distance:
    """Bounds on a mark's distance from the sensor; none where f-numbers or the pixels' size aren't known."""
    if camera.pixel_pitch_um is None:
        return UNKNOWN
    known = [number for number in alike if settings[number].f_number is not None]
    seen = [
        (settings[n].f_number, settings[n].dust.marks[trace.sightings[n]]) for n in known if n in trace.sightings
    ]
    missed = [settings[n].f_number for n in known if n not in trace.sightings]
    magnification = max((s.magnification.value for s in settings if s.magnification), default=0.0)
    return shadow_distance(seen, missed, camera.pixel_pitch_um / 1000, magnification, pupil_ratio)


def _told(trace: _Trace, settings: Sequence[Setting], alike: list[int], exit_pupil_mm: float | None) -> TracedMark:
    """A traced mark with what it lies on."""
    clues = [*trace.clues, *_distance_clues(trace.distance)]
    possible = [surface for surface in SURFACES if not any(surface in clue.not_on for clue in clues)]
    why = [clue.why for clue in clues]
    place = " or ".join(possible) if 0 < len(possible) < len(SURFACES) else UNTOLD
    if not possible:
        why = [f"the shots disagree: {' but '.join(why)}"]
    elif possible == [LENS]:
        place, more = _which_glass(trace.distance, exit_pupil_mm)
        why += more
    if PANEL in possible and len(possible) > 1:
        why.append(PANEL_TO_TELL)
    if LENS in possible and SENSOR in possible:
        why.append(TURN_TO_TELL)
    plainest = max(trace.sightings)
    mark = settings[plainest].dust.marks[trace.sightings[plainest]]
    sightings = [Sighting(setting, number) for setting, number in sorted(trace.sightings.items())]
    widest = sightings[0].setting
    return TracedMark(
        mark.kind,
        mark.x,
        mark.y,
        place,
        "; ".join(why),
        trace.distance.figure,
        sightings,
        settings[widest].label if settings[widest].f_number is not None and widest != alike[0] else None,
    )


def _distance_clues(distance: Distance) -> list[_Clue]:
    """What the blur of a mark's shadow says: a panel in focus is as sharp as the sensor's own dust."""
    if distance.high < SENSOR_MM:
        return [_Clue(frozenset({LENS}), f"its shadow is too sharp for more than {distance.high:.1f} mm")]
    if distance.low > LENS_MM:
        return [_Clue(frozenset({SENSOR}), f"its shadow is too soft for less than {distance.low:.0f} mm")]
    return []


def _which_glass(distance: Distance, exit_pupil_mm: float | None) -> tuple[str, list[str]]:
    """Before or behind the iris: what lies before it has its image beyond the exit pupil, seen from the sensor."""
    if exit_pupil_mm is not None and distance.low > exit_pupil_mm:
        return LENS_FRONT, ["it blurs more than anything behind the iris would"]
    if exit_pupil_mm is not None and distance.high < exit_pupil_mm:
        return LENS_REAR, ["it blurs less than anything before the iris would"]
    return LENS, []


# -- in words -------------------------------------------------------------------------------------------------


def _places_in_words(marks: list[TracedMark]) -> str:
    """How many marks lie where; nothing of no marks."""
    counts = Counter(mark.lies_on for mark in marks)
    untold = counts.pop(UNTOLD, 0)
    if not counts:
        return f"What {'it lies' if untold == 1 else 'they lie'} on is not known." if untold else ""
    places = [(count, f"on the {place.replace(' or ', ' or the ')}") for place, count in counts.most_common()]
    (first, where), *others = places
    if first == len(marks):
        whole = {1: "It lies", 2: "Both marks lie"}.get(first, f"All {first} marks lie")
        return f"{whole} {where}."
    told = [f"{first} of the {len(marks)} marks lie{'s' * (first == 1)} {where}"]
    told += [f"{count} {where}" for count, where in others]
    rest = "the other one lies" if untold == 1 else f"the other {untold} lie"
    return listed(told) + (f"; what {rest} on is not known." if untold else ".")


def _shots_to_tell(marks: list[TracedMark]) -> list[str]:
    """What further shots would tell of the marks."""
    hints = [hint for hint in (TURN_TO_TELL, PANEL_TO_TELL) if any(hint in mark.evidence for mark in marks)]
    soft = any(mark.kind == "patch" and PANEL_TO_TELL in mark.evidence for mark in marks)
    return [f"{hint[0].upper()}{hint[1:]} more." for hint in hints] + ([MAYBE_LIGHT] if soft else [])


def _apertures_in_words(marks: list[TracedMark]) -> str:
    """From which aperture on marks show, where wider ones don't show them."""
    late = Counter(mark.shows_from for mark in marks if mark.shows_from)
    said = [f"{count} show{'s' * (count == 1)} only from {label} on" for label, count in late.items()]
    return f"{listed(said)}." if said else ""
