"""What is new, gone and moved after wiping, with marks written by hand."""

import pytest

from lensbench.verdicts.dirt._since import Flat, changed_since
from tests.verdicts.dirt.invented_marks import SIZE, mark


def since(before, after, f_before=11.0, f_after=11.0, size=SIZE):
    return changed_since(Flat("before.dng", SIZE, f_before, before), Flat("after.dng", size, f_after, after))


def test_new_gone_moved_and_still_there():
    stays, goes = mark(1000, 1000), mark(500, 3500, width=40)
    slides, comes = mark(3000, 2000, width=80, depth=9), mark(5500, 500, depth=1.0)
    changes = since([stays, goes, slides], [mark(3400, 2300, width=82, depth=8), mark(1002, 999), comes])
    assert (changes.stayed, changes.new) == ([2], [3])
    assert changes.gone == [goes]
    assert [(pushed.earlier, pushed.now) for pushed in changes.moved] == [(slides, 1)]
    gone, moved, new = changes.sentences
    assert gone.startswith("gone: a spot, 40 px wide")
    assert "bottom left" in gone
    assert moved.startswith("probably moved: mark 1")
    assert "by 500 px" in moved
    assert new.startswith("new: mark 3")
    assert "top right" in new
    assert changes.notes == []


def test_a_mark_half_wiped_away_is_fainter():
    (said,) = since([mark(1000, 1000, depth=8)], [mark(1000, 1000, width=15, depth=3)]).sentences
    assert said == "fainter: mark 1, 8.0 % then, 3.0 % now"
    assert since([mark(1000, 1000, depth=8)], [mark(1000, 1000, depth=7)]).sentences == []


def test_faint_marks_come_and_go_with_the_noise():
    (said,) = since([mark(1000, 1000, signal=7)], []).sentences
    assert "noise" in said


def test_another_aperture_is_said_and_nothing_taken_for_moved():
    """Common practice: dirt shows more as the iris closes."""
    changes = since([mark(1000, 1000)], [mark(1100, 1000)], f_before=5.6)
    assert "f/5.6" in changes.notes[0]
    assert "f/11" in changes.notes[0]
    assert not changes.moved
    assert len(changes.gone) == len(changes.new) == 1
    # f/11 and f/10 are a third of a stop apart and count as alike (ISO 517: steps of the sixth root of 2).
    assert since([], [], 11.0, 10.0).notes == []
    assert "isn't recorded" in since([], [], None, 11.0).notes[0]


def test_frames_of_another_size_are_not_compared():
    changes = since([mark(1000, 1000)], [mark(1000, 1000)], size=(3000, 2000))
    assert "6000 × 4000" in changes.notes[0]
    assert "3000 × 2000" in changes.notes[0]
    assert not (changes.new)
    assert not (changes.gone)
    assert not (changes.moved)
    assert not (changes.stayed)


@pytest.mark.parametrize("count", [2, 4])
def test_many_that_moved_alike_were_moved_by_the_light_or_the_lens(count):
    places = [(1000, 1000), (2500, 700), (4000, 3000), (700, 2600)][:count]
    changes = since([mark(x, y) for x, y in places], [mark(x + 200, y - 90) for x, y in places])
    assert bool(changes.notes) == (count == 4)
