"""Which marks of two flats are the same, with places written by hand."""

import numpy as np
import pytest

from lensbench.verdicts.dirt._pairs import Move, common_move, pair_marks
from tests.verdicts.dirt.invented_marks import SIZE, mark

CENTRE = (2999.5, 1999.5)


def test_a_quarter_turn_anticlockwise_takes_right_to_top():
    """By hand: what lies right of the middle lies above it after a quarter turn anticlockwise as seen."""
    moved = Move(90.0).of(np.array([CENTRE[0] + 700, CENTRE[1]]), SIZE)
    assert moved == pytest.approx([CENTRE[0], CENTRE[1] - 700])


def test_each_mark_goes_to_its_nearest_and_only_once():
    first = [mark(1000, 1000), mark(1006, 1000)]
    second = [mark(1007, 1001), mark(5000, 100)]
    assert pair_marks(first, second, SIZE) == {1: 0}
    assert pair_marks(first, [], SIZE) == {}


def test_marks_that_look_otherwise_are_others():
    one = [mark(1000, 1000, width=20, depth=5)]
    for other in (mark(1000, 1000, depth=-5), mark(1000, 1000, width=40), mark(1000, 1000, depth=1)):
        assert pair_marks(one, [other], SIZE) == {}
    assert pair_marks(one, [mark(1001, 1000, width=45, depth=1.2)], SIZE, alike=False) == {0: 0}


def test_fibres_are_paired_across_their_paths():
    """Ends are unsure: a fibre found half as long still is the same one."""
    path = [(x, 500.0 + 0.001 * (x - 1000) ** 2) for x in range(1000, 1400, 10)]
    long = mark(1200, 540, 4, kind="fibre", path=path)
    short = mark(1100, 510, 4, kind="fibre", path=path[:20])
    beside = mark(1200, 640, 4, kind="fibre", path=[(x, y + 100) for x, y in path])
    assert pair_marks([long], [beside, short], SIZE) == {0: 1}


def test_the_common_move_is_found_among_marks_that_stay_and_strangers():
    rng = np.random.default_rng(1)
    places = rng.uniform((200, 200), (4000, 3000), (9, 2))
    first = [mark(x, y) for x, y in places]
    shift = np.array([612.0, -155.0])
    second = [mark(*(p + shift + rng.normal(0, 1, 2))) for p in places[:6]] + [mark(*p) for p in places[6:]]
    move = common_move(first, second, SIZE, 0.0, 7000)
    assert move.shift == pytest.approx(tuple(shift), abs=4)
    assert set(pair_marks(first, second, SIZE, move)) == set(range(6))


def test_a_turn_about_an_axis_off_the_centre():
    """By hand: turned by half about (c + 40, d), everything is shifted by twice 40."""
    first = [mark(CENTRE[0] + dx, CENTRE[1] + dy) for dx, dy in ((500, 300), (-900, 200), (100, -1100))]
    second = [mark(CENTRE[0] + 80 - dx, CENTRE[1] - dy) for dx, dy in ((500, 300), (-900, 200), (100, -1100))]
    move = common_move(first, second, SIZE, 180.0, 700)
    assert move.shift == pytest.approx((80, 0), abs=1e-6)
    assert pair_marks(first, second, SIZE, move) == {0: 0, 1: 1, 2: 2}
