"""The time left, by a clock of the test's own; and sentences broken to a terminal's width."""

import io

import pytest

from lensbench.cli import screen
from lensbench.cli.progress import LEAST_LEFT, Pace, left_in_words, progress_bar


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def test_before_anything_is_done_the_time_left_is_what_was_expected(clock):
    pace = Pace(clock)
    assert pace.left_s is None
    pace.expect({"a": 30.0, "b": 10.0})
    assert pace.left_s == 40.0
    clock.now += 1
    assert pace.left_s == pytest.approx(39.0)
    assert pace.share == pytest.approx(1 / 40)


def test_a_computer_half_as_fast_is_noticed_as_pieces_are_done(clock):
    """All takes twice as long as expected: 80 s. Three quarters are done after 60 s, so some 20 s are left."""
    pace = Pace(clock)
    pace.expect({"a": 30.0, "b": 10.0})
    clock.now += 60
    pace.told(1, 2, "a")
    # Three parts of what was seen (80 s), one of what was expected (40 s): 70 s in all.
    assert pace.left_s == pytest.approx(10.0)
    clock.now += 20
    pace.told(2, 2, "b")
    assert pace.left_s == pytest.approx(LEAST_LEFT * 80)


def test_a_slow_computer_is_noticed_before_the_first_piece_is_done(clock, monkeypatch):
    """Ten pieces of 10 s on one processor: when the first has not ended after 30 s, all take 300 s at least."""
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    pace = Pace(clock)
    pace.expect({str(n): 10.0 for n in range(10)})
    clock.now += 30
    assert pace.left_s == pytest.approx(270.0)


def test_work_beyond_its_time_is_never_said_to_be_over(clock):
    pace = Pace(clock)
    pace.expect(10.0)
    clock.now += 50
    assert pace.left_s > 0
    assert pace.share < 1


def test_without_any_expectation_the_first_piece_tells(clock):
    pace = Pace(clock)
    clock.now += 10
    pace.told(1, 4, "a")
    assert pace.left_s == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (None, ""),
        (0.3, "about 5 s left"),
        (33, "about 35 s left"),
        (90, "about 1.5 min left"),
        (900, "about 15 min left"),
    ],
)
def test_time_left_in_words(seconds, said):
    assert left_in_words(seconds) == said


def test_a_pipe_gets_no_bar_and_pieces_only_when_verbose(capsys):
    for verbose, expected in ((False, ""), (True, "1/2 read a.dng\n")):
        with progress_bar("Measuring", verbose=verbose) as progress:
            progress.expect(10)
            progress(1, 2, "read a.dng")
        assert capsys.readouterr().err == expected


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_sentences_are_broken_between_words_in_a_terminal_and_hang(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr("sys.stdout", terminal)
    monkeypatch.setenv("COLUMNS", "40")
    screen.print_sentences("word " * 20, hang="  1. ")
    lines = terminal.getvalue().splitlines()
    assert max(map(len, lines)) <= 40
    assert lines[0].startswith("  1. word")
    assert all(line.startswith("     word") for line in lines[1:])
    assert "\x1b" not in terminal.getvalue()


def test_what_a_pipe_is_told_beside_the_result_is_a_line_a_message(capsys):
    screen.say("word " * 60)
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_names_of_files_are_no_markup_and_no_commands_to_the_terminal(monkeypatch):
    """In a real bar: a name that looks like markup, or clears the screen, is shown as it is written."""
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setenv("TERM", "xterm")
    with progress_bar("Measuring", verbose=True) as progress:
        progress(1, 2, "[/red]\x1b[2J.dng")
    assert "[/red]\\x1b[2J.dng" in terminal.getvalue()
