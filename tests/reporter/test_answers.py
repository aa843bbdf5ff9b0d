"""The first lines of the page: which aperture, and how the lengths of fringing hang together."""

import pytest

from lensbench.findings import ApertureRanking, ApertureSharpness, Figure, Verdict
from lensbench.frame import ZONES
from lensbench.reporter.tables.summary import summary_table
from lensbench.reporter.values.fringing import farthest_colour
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.fringing import fringing_in_short, worst_corner
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1200, 800)


def one(f_number, value, half=0.2, equal=False, spread=None, settings=(0,)):
    spread = None if spread is None else Figure(spread, spread / 2, spread * 6, "lp/mm")
    return ApertureSharpness(f_number, None, list(settings), Figure.of(value, half, "lp/mm"), spread, equal)


def aperture_answer(*rankings):
    report = invented_report((4, 8), SIZE, clean=True)
    alter(
        report, verdict=Verdict([ApertureRanking(part, zones, list(ranked)) for part, zones, *ranked in rankings])
    )
    return next(answer for answer in answers(report) if answer.question == "Which aperture?")


def test_the_best_aperture_says_what_was_averaged():
    answer = aperture_answer(("frame", list(ZONES), one(8, 38.72, equal=True), one(4, 33.14)))
    assert answer.short == "f/8"
    assert answer.more == (
        "Sharpest on average over the whole frame's area: 38.7 ± 0.2 lp/mm; next is f/4 with 33.1. Refocusing may "
        "change that order."
    )
    some = aperture_answer(("frame", list(ZONES[:9]), one(8, 38.72, equal=True), one(4, 38.6, equal=True)))
    assert "over the 9 of 13 zones that could be measured at every aperture" in some.more
    assert "; f/4 is equal within the uncertainty." in some.more


def test_setups_are_one_candidate_with_a_spread():
    """The mean of few setups has a wide interval of its own; digits go by how much they differ."""
    several = one(8, 38.72, half=9.0, equal=True, spread=0.83, settings=(1, 3, 5))
    answer = aperture_answer(("frame", list(ZONES), several, one(4, 33.14, half=9.0, spread=0.5)))
    assert "38.7 lp/mm, the mean of 3 setups that scatter by ± 0.8; next is f/4 with 33.1." in answer.more
    assert "Refocusing" not in answer.more


def test_corners_that_like_another_aperture_are_named():
    whole = ("frame", list(ZONES), one(8, 38.72, equal=True), one(11, 33.14))
    corners = ("corners", list(ZONES[9:]), one(11, 24.31, equal=True), one(8, 20.77))
    centre = ("centre", ["centre"], one(8, 51.0, equal=True), one(11, 40.0))
    more = aperture_answer(whole, centre, corners).more
    assert more.endswith("The corners alone are sharpest at f/11, 24.3 lp/mm against 20.8.")
    assert "centre" not in more
    level = ("corners", list(ZONES[9:]), one(11, 24.31, equal=True), one(8, 24.2, equal=True))
    assert "corners" not in aperture_answer(whole, centre, level).more


def test_without_a_common_zone_nothing_is_ranked():
    answer = aperture_answer()
    assert answer.short == "Can't tell"
    assert "every aperture" in answer.more


def test_the_three_lengths_of_fringing_hang_together():
    """The invented colours: red 1.4 px in, blue 2.6 px out in the corners, and a small shift of both aside."""
    report = invented_report((4,), SIZE, clean=True)
    fringing = report.settings[0].fringing
    zone, figure = farthest_colour(report.settings[0])
    text = worst_corner(fringing, fringing.worst)
    both = {row.channel: row.radial_px.value for row in fringing.zones if row.zone == "corner top-right"}
    assert f"red lands {-both['red']:.2f} px inward of green" in text
    assert f"blue lands {both['blue']:.2f} px outward of green" in text
    assert "the two 3.60 ± 0.02 px apart" in text
    assert "a coloured fringe 5.10 ± 0.10 px wide: wider than that" in text
    answer = next(answer for answer in answers(report) if answer.question == "Colour fringes?")
    assert answer.short == f"{figure.value:.1f} px"
    assert "fringe up to 5.1 px wide" in answer.more
    head, [row] = summary_table(report)
    assert row[head.index("farthest colour from green, px")].startswith(f"{zone.channel} {figure.value:.1f}")
    assert fringing_in_short(report.settings[0]) == f"{zone.channel} up to {figure.value:.1f} px outward"


def test_one_colour_against_green_is_said_as_such():
    report = invented_report((4,), SIZE, clean=True)
    fringing = report.settings[0].fringing
    alter(fringing.worst, colours=("green", "blue"))
    text = worst_corner(fringing, fringing.worst)
    assert "of green (3.60 ± 0.02 px): no two colours lie farther apart" in text
    assert "red lands" not in text


def test_a_fringe_may_be_narrower():
    report = invented_report((4,), SIZE, clean=True)
    fringing = report.settings[0].fringing
    alter(fringing.worst, width_px=Figure.of(2.4, 0.1, "px"))
    assert "narrower" in worst_corner(fringing, fringing.worst)


@pytest.mark.parametrize("part", ["frame", "centre", "corners"])
def test_an_invented_report_ranks_its_apertures(part):
    report = invented_report((2.8, 5.6), SIZE)
    ranking = next(ranking for ranking in report.verdict.aperture if ranking.part == part)
    assert [one.label for one in ranking.ranked] == ["f/5.6", "f/2.8"]
