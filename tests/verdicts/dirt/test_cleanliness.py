"""Where to wipe, with places written by hand."""

from lensbench.findings import Dust, Figure, Mark
from lensbench.verdicts.dirt._cleanliness import judge_cleanliness

SIZE = (600, 400)


def mark(x, y, depth=2.0, kind="spot"):
    width, length, percent = Figure.of(9, 1, "px"), Figure.of(80, 2, "px"), Figure.of(depth, 0.1, "%")
    return Mark(x, y, kind, width, length, percent, 30.0, "outer top-left")


def test_no_marks_is_clean():
    answer = judge_cleanliness(Dust(), SIZE)
    assert answer.clean
    assert not answer.sentences


def test_left_in_the_picture_is_right_on_the_front_glass_and_upside_down_on_the_sensor():
    answer = judge_cleanliness(Dust([mark(60, 60)]), SIZE)
    (sentence,) = answer.sentences
    assert not answer.clean
    in_picture, on_front, on_rear, on_sensor = sentence.split("; if")
    assert "top left" in in_picture
    assert "darker" in in_picture
    assert "top right" in on_front
    assert "bottom right" in on_rear
    assert "bottom left" in on_sensor


def test_a_bright_fibre_says_so_and_how_long():
    (sentence,) = judge_cleanliness(Dust([mark(300, 200, -1.5, "fibre")]), SIZE).sentences
    assert "1.5 % brighter" in sentence
    assert "80 px long" in sentence
