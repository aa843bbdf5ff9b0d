"""The finer tables of geometry on an invented report."""

from lensbench.findings import Assembly, Figure, OpticalCentre, TurnTest, Verdict
from lensbench.reporter.tables.geometry import assembly_tables, finer_size
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


def test_distortion_and_size_stand_as_in_the_report():
    report = invented_report((4.0,), (300, 200))
    tables = finer_size(report)
    assert [len(table.rows) for table in tables[:1]] == [len(report.geometry.distortion.curve)]
    assert all(len(row) == len(table.head) for table in tables for row in table.rows)
    alter(report, geometry=None)
    assert finer_size(report) == []


def test_centres_and_turn_tests():
    report = invented_report((4.0,), (300, 200))
    right, down = Figure.of(0.51, 0.02, "mm"), Figure.of(-0.3, 0.02, "mm")
    percent = Figure.of(12.0, 0.5, "%"), Figure.of(0.0, 0.5, "%")
    alter(
        report,
        verdict=Verdict(
            assembly=Assembly(
                "straight",
                [OpticalCentre("falloff", right, down)],
                [TurnTest("sharpness", percent, percent, "both")],
            )
        ),
    )
    centres, tests = assembly_tables(report)
    assert centres.rows == [["falloff", "+0.51 ± 0.02", "−0.30 ± 0.02"]]
    assert tests.rows[0][:3] == ["sharpness", "both", "+12.0 ± 0.5 %"]
    alter(report, verdict=None)
    assert assembly_tables(report) == []
