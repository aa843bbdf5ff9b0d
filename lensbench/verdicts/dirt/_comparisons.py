"""What marks do when the lens is turned or the light panel moved: they stay, turn along or move along."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import Mark
from lensbench.frame import half_diagonal
from lensbench.verdicts.dirt._pairs import Move, common_move, pair_marks
from lensbench.verdicts.dirt._setting_marks import SettingMarks
from lensbench.verdicts.dirt._surfaces import LENS, PANEL, SENSOR, Clue

LEAST_TURN_DEG = 10.0
"""Smaller turns of the lens show nothing: marks near the axis hardly move (chosen by experience)."""

AXIS_OFF = 0.1
"""How far the mount's axis may pass from the frame's centre, as a share of the half-diagonal (chosen by
experience)."""

CLEAR_SIGNAL = 12.0
"""A mark of at least this signal to noise is found again wherever it goes (chosen by experience; the search's own
limit is 8)."""

STAYED = Clue(frozenset({LENS}), "it stayed when the lens was turned")
TURNED = Clue(frozenset({SENSOR, PANEL}), "it turned with the lens")
TURNED_OUT = Clue(frozenset({SENSOR, PANEL}), "it was gone from there when the lens was turned")
FIXED = Clue(frozenset({PANEL}), "it stayed when the panel was moved")
MOVED = Clue(frozenset({SENSOR, LENS}), "it moved with the panel")
MOVED_OUT = Clue(frozenset({SENSOR, LENS}), "it was gone from there when the panel was moved")


def compare_flats(
    flats: Sequence[SettingMarks], size: tuple[int, int]
) -> tuple[dict[tuple[int, int], list[Clue]], list[str]]:
    """Compare the flats of a session before and after turns of the lens and moves of the light panel.

    Parameters
    ----------
    flats : sequence of SettingMarks
        The settings' marks.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    dict of (int, int) to list of Clue
        What is known of a mark, by the number of its setting and its own.
    list of str
        What was odd about the shots.
    """
    clues: dict[tuple[int, int], list[Clue]] = {}
    notes: list[str] = []

    def note(setting: int, found: Iterable[tuple[int, Clue]]) -> None:
        for mark, clue in found:
            clues.setdefault((setting, mark), []).append(clue)

    for flat in flats:
        for panel in flat.panels:
            note(flat.number, _panel_clues(flat.marks, panel.marks, size))
    by_panel = {mark: list(found) for mark, found in clues.items()}
    for one, other in permutations(flats, 2):
        turn = _turn_between(one, other)
        if turn is not None:
            pair = one.marks, other.marks
            stayed = pair_marks(*pair, size)
            move = _lens_move(*_unpaired(*pair, stayed), turn, size)
            if move.turn_deg != turn and not notes:
                notes.append(
                    "The marks on the lens turned the other way than lens_turn_deg says: it is counted "
                    "anticlockwise as seen from behind the camera."
                )
            note(one.number, _turn_clues(*pair, stayed, move, size))
            # A mark that stayed is the same one: what the panel said of it there holds here.
            for mark, same in stayed.items():
                note(one.number, ((mark, clue) for clue in by_panel.get((other.number, same), ())))
    return clues, notes


def _turn_between(one: SettingMarks, other: SettingMarks) -> float | None:
    """By how much the lens was turned between two settings that are otherwise alike; None where they aren't."""
    turn = (other.lens_turn_deg - one.lens_turn_deg + 180) % 360 - 180
    alike = one.label == other.label and one.setup == other.setup
    return turn if alike and abs(turn) >= LEAST_TURN_DEG else None


def _lens_move(first: Sequence[Mark], second: Sequence[Mark], turn: float, size: tuple[int, int]) -> Move:
    """The move of marks that turned with the lens: about the mount's axis, perhaps off the frame's centre."""
    reach = 2 * np.sin(np.radians(abs(turn)) / 2) * AXIS_OFF * half_diagonal(size)
    moves = [common_move(first, second, size, way * turn, reach) for way in (1, -1)]
    return max(moves, key=lambda move: len(pair_marks(first, second, size, move)))


def _unpaired(
    first: Sequence[Mark], second: Sequence[Mark], stayed: dict[int, int]
) -> tuple[list[Mark], list[Mark]]:
    """The marks of two flats without those that stayed."""
    left = [mark for number, mark in enumerate(first) if number not in stayed]
    return left, [mark for number, mark in enumerate(second) if number not in stayed.values()]


def _turn_clues(
    first: Sequence[Mark], second: Sequence[Mark], stayed: dict[int, int], move: Move, size: tuple[int, int]
) -> Iterator[tuple[int, Clue]]:
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
        elif mark.signal_to_noise >= CLEAR_SIGNAL and not _in_frame(goal, mark, size):
            yield number, TURNED_OUT


def _in_frame(place: NDArray, mark: Mark, size: tuple[int, int]) -> bool:
    """Whether a mark that went to a place, or nearly there, would show."""
    reach = AXIS_OFF / 2 * half_diagonal(size) + mark.width_px.value / 2
    return bool(np.all(place > -reach) and np.all(place < np.array(size) + reach))


def _panel_clues(
    first: Sequence[Mark], second: Sequence[Mark], size: tuple[int, int]
) -> Iterator[tuple[int, Clue]]:
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
        elif mark.signal_to_noise >= CLEAR_SIGNAL:
            yield number, MOVED_OUT
