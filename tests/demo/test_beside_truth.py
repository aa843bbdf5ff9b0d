"""Measured beside true: what is held against what, and that a wrong figure is seen."""

import copy

import pytest

from lensbench.demo import beside_table, statistics_table
from lensbench.demo._beside_truth import compare
from lensbench.demo._flat_truth import is_same, must_be_found
from lensbench.findings import Figure, Mark
from lensbench.simulator.dirt import MarkTruth
from tests.demo.agreeing import agreeing
from tests.findings.alter import alter


@pytest.fixture(scope="module")
def measured():
    return agreeing()


def test_a_true_report_passes_everywhere(measured):
    beside, statistics = compare(*measured)
    assert len(statistics) == 3 * 3 + 2 * 2 + 3
    assert [one.what for one in statistics if not one.within] == []
    kinds = {entry.what.split(",")[0].split(" ")[0] for entry in beside}
    assert kinds == {"MTF50", "red", "blue", "magnification", "falloff"}


def spoilt(measured, spoil):
    report, truths = copy.deepcopy(measured[0]), measured[1]
    spoil(report.settings[0])
    return [one.what for one in compare(report, truths)[1] if not one.within]


def _scale_green(setting):
    for edge in setting.sharpness.edges:
        if edge.channel == "green":
            alter(edge, mtf50=Figure(edge.mtf50.value * 1.005, edge.mtf50.low, edge.mtf50.high, "cy/px"))


def _shrink_intervals(setting):
    for edge in setting.sharpness.edges:
        alter(edge, mtf50=Figure.of(edge.mtf50.value, edge.mtf50.half_width / 2, "cy/px"))


def _shift_red(setting):
    for tile in setting.fringing.tiles:
        outward = tile.red.radial_px
        alter(
            tile,
            red=type(tile.red)(
                tile.red.dx, tile.red.dy, Figure.of(outward.value + 0.02, 0.01, "px"), tile.red.around_px
            ),
        )


def _darken(setting):
    alter(setting.falloff.grid, stops=[[stops * 1.05 for stops in row] for row in setting.falloff.grid.stops])


def _lose_a_mark(setting):
    del setting.dust.marks[2]


def _invent_a_mark(setting):
    mark = setting.dust.marks[0]
    setting.dust.marks.append(
        Mark(1400, 900, "spot", mark.width_px, mark.length_px, mark.depth_percent, 9.0, "corner bottom-right")
    )


@pytest.mark.parametrize(
    ("spoil", "seen"),
    [
        (_scale_green, "green edges: bias"),
        (_shrink_intervals, "intervals that hold"),
        (_shift_red, "red against green"),
        (_darken, "falloff over the frame"),
        (_lose_a_mark, "dirt marks found"),
        (_invent_a_mark, "false marks"),
    ],
)
def test_a_wrong_report_is_caught(measured, spoil, seen):
    missed = spoilt(measured, spoil)
    assert missed
    assert any(seen in what for what in missed)


def test_a_figure_off_its_interval_is_no(measured):
    report, truths = copy.deepcopy(measured[0]), measured[1]
    zone = next(z for z in report.settings[0].sharpness.zones if z.channel == "green")
    alter(zone, mtf50=Figure.of(zone.mtf50.value * 1.5, 0.001, "cy/px"))
    beside, _ = compare(report, truths)
    assert not next(entry for entry in beside if zone.direction in entry.what).within
    rows = beside_table(beside)[1]
    assert sum(row[-1] == "no" for row in rows) == sum(not entry.within for entry in beside) > 0


def test_marks_that_need_not_be_found():
    plain = MarkTruth(0, 0, "spot", "sensor", 6.0, 6.0, 0.6, 9.0)
    assert must_be_found(plain)
    for change in (
        {"width_px": 4.0, "length_px": 4.0},
        {"depth_percent": 0.4},
        {"signal_to_noise": 7.0},
        {"kind": "patch"},
    ):
        values = {**plain.__dict__, **change}
        assert not must_be_found(MarkTruth(**values))


def test_a_mark_is_the_same_where_its_middle_lies_on_the_shadow():
    true = MarkTruth(100, 100, "fibre", "rear glass", 6.0, 60.0, 2.0, 30.0)
    figure = Figure.of(6, 1, "px")
    near, far = (Mark(x, 100, "fibre", figure, figure, figure, 30.0, "centre") for x in (125, 140))
    assert is_same(true, near)
    assert not is_same(true, far)


def test_tables_say_what_is_allowed(measured):
    rows = statistics_table(compare(*measured)[1])[1]
    allowed = {row[1].split(": ")[-1]: row[3] for row in rows}
    assert allowed["bias"] in ("± 0.30 %", "± 0.50 %", "± 0.0100 px")
    assert allowed["rms"] == "≤ 0.0100 stops"
    assert {row[-1] for row in rows} == {"yes"}
