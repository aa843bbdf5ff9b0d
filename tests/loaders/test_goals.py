"""Goals files: what they say, and mistakes in them named with their line."""

import re

import pytest

from lensbench.errors import BenchError
from lensbench.findings.goals import Goal
from lensbench.loaders.goals import START, read_goals
from lensbench.verdicts.goals import _FIGURES


def read(tmp_path, text):
    path = tmp_path / "goals.toml"
    path.write_text(text, encoding="utf-8")
    return read_goals(path)


def test_limits_of_one_figure_are_one_goal(tmp_path):
    goals = read(tmp_path, "[goals]\nf_number = 8\nfocal_length_mm_least = 19\nfocal_length_mm_most = 21\n")
    assert goals.wanted == [Goal("focal_length_mm", least=19.0, most=21.0)]
    assert (goals.f_number, goals.aperture) == (8.0, None)


def test_the_file_to_begin_with_can_be_filled_in_whole(tmp_path):
    """Every note with its # taken away is a goal that can be graded."""
    filled = re.sub(r"(?m)^# (\w+ = |\"corner)", r"\1", START)
    goals = read(tmp_path, filled)
    assert {goal.what for goal in goals.wanted} == set(_FIGURES)
    with pytest.raises(BenchError, match="has no goal yet"):
        read(tmp_path, START)


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("[goals]\nmagnifcation_least = 1\n", 2, "did you mean magnification_least?"),
        ("[goals]\nmarks_most = true\n", 2, "a number of marks"),
        ("[goals]\nf_number = 8\naperture = 'x'\n", 3, "both given"),
        ("[goals.mtf50_lp_mm_least]\nmiddle = 3\n", 2, "middle is unknown here"),
        ("[goals]\nmtf50_lp_mm_least = 40\n", 2, "must say where"),
        ("marks_most = 0\n", 1, "Everything belongs under [goals]"),
        ("goals = 3\n", 1, "must be a table"),
    ],
)
def test_mistakes_are_named_with_their_line(tmp_path, text, line, said):
    with pytest.raises(BenchError) as refusal:
        read(tmp_path, text)
    assert f"goals.toml, line {line}:" in str(refusal.value)
    assert said in str(refusal.value)
