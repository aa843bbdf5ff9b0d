"""Goals graded: limits worked by hand on an invented report."""

import pytest

from lensbench.figure import Figure
from lensbench.findings.goals import Goal
from lensbench.verdicts.goals import grade
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


@pytest.fixture
def report():
    report = invented_report((2.8, 5.6), (1200, 800))
    for setting, centre in zip(report.settings, (40.0, 60.0), strict=True):
        for zone in setting.sharpness.zones:
            ring = zone.zone.split()[0]
            value = {"centre": centre, "corner": 20.0}.get(ring, 30.0)
            alter(zone, mtf50_lp_mm=Figure.of(15.0 if zone.zone == "corner top-right" else value, 1.0, "lp/mm"))
    return report


def result(report, goal, **asked):
    (graded,) = grade(report, [goal], **asked).goals
    return graded


@pytest.mark.parametrize(
    ("least", "expected"),
    [(58.9, "met"), (59.0, "met"), (59.5, "too close to call"), (61.0, "too close to call"), (61.1, "missed")],
)
def test_a_goal_is_met_or_missed_only_beyond_the_interval(report, least, expected):
    """60 ± 1 lp/mm in the centre at f/5.6."""
    assert result(report, Goal("mtf50_lp_mm", "centre", least=least), f_number=5.6).result == expected


def test_a_ring_is_judged_by_its_softest_zone(report):
    graded = result(report, Goal("mtf50_lp_mm", "corner", least=18.0), f_number=5.6)
    assert graded.result == "missed"
    assert graded.zone == "corner top-right"
    assert graded.value.value == 15.0
    single = result(report, Goal("mtf50_lp_mm", "corner top-left", least=18.0), f_number=5.6)
    assert single.result == "met"


def test_without_an_aperture_the_one_that_meets_most_is_graded(report):
    grades = grade(report, [Goal("mtf50_lp_mm", "centre", least=50.0), Goal("mtf50_lp_mm", "inner", least=20.0)])
    assert (grades.aperture, grades.chosen, grades.answer) == ("f/5.6", "meets most", "met")
    worse = grade(report, [Goal("mtf50_lp_mm", "centre", least=50.0)], f_number=2.8)
    assert (worse.aperture, worse.chosen, worse.answer) == ("f/2.8", "asked for", "missed")


def test_an_aperture_that_was_not_shot_can_t_be_graded(report):
    grades = grade(report, [Goal("marks", most=0.0)], f_number=11.0)
    assert grades.answer == "can't tell"
    assert grades.setups == 0
    assert grades.goals[0].reason == "nothing was measured at f/11"


def test_two_limits_hold_a_figure_between_them(report):
    alter(report.geometry, field_of_view_deg=None)
    graded = result(report, Goal("field_of_view_deg", least=80.0), f_number=5.6)
    assert graded.result == "can't tell"
    assert "rail" in graded.reason
    alter(report.geometry, field_of_view_deg=Figure.of(84.0, 0.5, "°"))
    for least, most, expected in ((80, 90, "met"), (70, 80, "missed"), (84, 90, "too close to call")):
        goal = Goal("field_of_view_deg", least=least, most=most)
        assert result(report, goal, f_number=5.6).result == expected


def test_distortion_counts_whichever_way_lines_bow(report):
    """-1.342 ± 0.012 %."""
    for most, expected in ((1.0, "missed"), (1.35, "too close to call"), (2.0, "met")):
        assert result(report, Goal("distortion_percent", most=most), f_number=5.6).result == expected


def test_several_setups_are_graded_by_their_mean_and_spread(report):
    """58, 60 and 62 lp/mm: the mean is 60 ± 4.303 · 2 / √3 (Student's t for 2 degrees of freedom, tables)."""
    first = report.settings[1]
    alter(report, settings=[first])
    for setup, value in ((2, 58.0), (3, 62.0)):
        other = invented_report((5.6,), (1200, 800)).settings[0]
        alter(other, setup=setup)
        for zone in other.sharpness.zones:
            alter(zone, mtf50_lp_mm=Figure.of(value, 0.1, "lp/mm"))
        report.settings.append(other)
    graded = result(report, Goal("mtf50_lp_mm", "centre", least=56.0), f_number=5.6)
    assert graded.value.value == pytest.approx(60.0)
    assert graded.value.half_width == pytest.approx(4.303 * 2 / 3**0.5, rel=1e-3)
    assert graded.result == "too close to call"


def test_marks_are_counted(report):
    count = len(report.settings[0].dust.marks)
    assert result(report, Goal("marks", most=count - 1), f_number=2.8).result == "missed"
    assert result(report, Goal("marks", most=count), f_number=2.8).result == "met"
