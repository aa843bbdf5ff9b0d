"""The terminal's answers: a line each with its figure, and "can't tell" where the report can't."""

import pytest

from lensbench.figure import Figure
from lensbench.findings import (
    UNTOLD,
    Assembly,
    AssemblyFault,
    Build,
    Camera,
    Dirt,
    Report,
    SofterSide,
    TracedMark,
    Verdict,
)
from lensbench.findings.goals import Goal
from lensbench.formatting import with_interval
from lensbench.reporter.values.zones import CORNERS, corner_name
from lensbench.reporter.words.answer_lines import answer_lines
from lensbench.reporter.words.answers import answers
from lensbench.verdicts.goals import grade
from lensbench.verdicts.print_size import judge_print_size
from lensbench.verdicts.zones import known_zones
from tests.findings.alter import alter
from tests.reporter.invented import PITCH_UM, invented_report, lone_direction

SIZE = (1200, 800)
ROOM = 80 - 17
"""What 80 columns leave beside the questions."""


@pytest.fixture
def report():
    return invented_report((2.8, 5.6), SIZE)


def said(report):
    return dict(answer_lines(report))


def test_every_question_has_one_line(report):
    lines = answer_lines(report)
    assert [one.question for one in lines] == [
        "Which aperture", "How sharp", "Prints sharp to", "Assembly", "Colour fringes", "Dark corners",
        "Where to wipe", "Magnification", "Better or worse",
    ]  # fmt: skip
    assert [one for one in lines if len(one.question) > 15 or "\n" in one.answer] == []
    assert [one for one in lines if len(one.answer) > ROOM and one.question != "How sharp"] == []


def test_figures_stand_in_the_lines(report):
    lines = said(report)
    best = report.verdict.aperture[0].ranked[0].mean
    assert lines["Which aperture"].startswith(f"f/5.6: {best.value:.3f} ± {best.half_width:.3f}"[:14])
    assert "; f/2.8 " in lines["Which aperture"]
    assert lines["Colour fringes"] == "f/5.6: blue 2.326 ± 0.008 px outward in the top right corner"
    assert lines["Magnification"] == "0.4987 ± 0.0011 ×"
    assert lines["Where to wipe"] == "can't tell (5 marks); the clearest takes 4.1 % at f/2.8"


def test_marks_are_counted_by_what_they_lie_on(report):
    """The invented report's five marks, of which three are placed by hand."""
    places = [UNTOLD, "front glass", "sensor", "front glass", UNTOLD]
    marks = [TracedMark("spot", 10.0, 10.0, place, "", None, []) for place in places]
    alter(report.verdict, dirt=Dirt(marks))
    assert said(report)["Where to wipe"].startswith(
        "front glass (2 marks), sensor (1 mark), can't tell (2 marks); "
    )


def test_goals_come_first_with_what_was_missed(report):
    goals = [Goal("distortion_percent", most=1.0), Goal("magnification", least=0.4)]
    alter(report.verdict, goals=grade(report, goals, f_number=5.6))
    first = answer_lines(report)[0]
    assert first.question == "Goals"
    assert first.answer == (
        "1 of 2 goals met, 1 missed at f/5.6: distortion at the corners 1.342 ± 0.012 %, at most 1 % wanted"
    )


def test_prints_are_given_by_sizes_that_are_sure(report):
    """7.22 ± 0.04 lp/mm in the softest corner: (7.22 - 0.04) / 5.7 · 3.6 is 4.5 cm."""
    camera = Camera(SIZE, (36.0, 24.0), 30.0)
    alter(report.verdict, prints=judge_print_size(report.settings, report.verdict.aperture, camera))
    line = said(report)["Prints sharp to"]
    assert line.replace("\xa0", " ").startswith("4.5 × 3.0 cm all over, 6.7 × 4.5 cm in the centre")
    assert "4.5\xa0×\xa03.0\xa0cm" in line  # No line's end parts it.


def test_a_zone_measured_in_one_direction_is_not_passed_over(report):
    """The softest corner counts with the direction that there is; without any, sizes aren't of the whole frame."""
    camera = Camera(SIZE, (36.0, 24.0), 30.0)
    setting = next(s for s in report.settings if s.f_number == 5.6)
    softest = min(CORNERS, key=lambda zone: known_zones([setting])[zone].figures[0].value)
    lone_direction(setting, softest, "tangential")
    known = known_zones([setting])[softest]
    assert known.direction == "tangential"
    assert said(report)["How sharp"].endswith(
        f"{with_interval(known.figures[0])} {corner_name(softest)} corner (tangential alone)"
    )
    lone_direction(setting, softest, "neither")
    assert softest not in known_zones([setting])
    alter(report.verdict, prints=judge_print_size(report.settings, report.verdict.aperture, camera))
    assert "wherever it was measured" in said(report)["Prints sharp to"]
    how_sharp = next(one for one in answers(report) if one.question == "How sharp?")
    assert f"The {corner_name(softest)} corner could not be measured." in how_sharp.more


@pytest.mark.parametrize(
    ("answer", "fault", "said_of_it"),
    [
        ("not straight", ("lean", "lens"), "not straight: the lens leans 0.90°"),
        ("straight", ("lean", "target"), "straight: the sheet leaned 0.90°"),
        ("can't tell", ("lean", "can't tell"), "can't tell: sheet, mount or lens leans 0.90°"),
        ("straight", ("off the middle", "lens"), "straight: the whole lens sits 0.62 mm off the middle"),
    ],
)
def test_the_headline_on_assembly_says_what_leans(report, answer, fault, said_of_it):
    what, whose = fault
    angle = Figure.of(0.9, 0.02, "°") if what == "lean" else None
    offset = None if angle else Figure.of(0.62, 0.03, "mm")
    one = AssemblyFault(what, whose, "right", angle, None, offset)
    alter(report.verdict, assembly=Assembly(answer, faults=[one]))
    assert said(report)["Assembly"] == said_of_it


def test_a_softer_side_has_its_figure_and_its_cause(report):
    side = SofterSide("top left", Figure.of(34.2, 1.1, "%"), "f/5.6", "lens")
    alter(report.verdict, assembly=Assembly("not straight", softer_side=side))
    assert said(report)["Assembly"] == "not straight: top left 34.2 ± 1.1 % softer at f/5.6 (lens)"


def test_nothing_measured_is_can_t_tell_throughout():
    lines = answer_lines(Report(Build("bare"), Camera(SIZE, (36.0, 24.0), PITCH_UM), verdict=Verdict()))
    assert [one for one in lines if not one.answer.startswith("can't tell")] == []
    alone = said(invented_report((5.6,), SIZE, clean=True))
    assert alone["Which aperture"].startswith("can't tell: only f/5.6 was shot (9.359")
    assert alone["Where to wipe"] == "nowhere: no mark shows in any flat"
