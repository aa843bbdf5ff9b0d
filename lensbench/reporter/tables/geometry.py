"""The page's finer tables of geometry: bending outwards, size by zone, the optical centres, the turn tests."""

from __future__ import annotations

from lensbench.findings import Report, TurnTest
from lensbench.formatting import with_interval
from lensbench.reporter.tables.page import Table, zone_rows


def finer_size(report: Report) -> list[Table]:
    """How bending grows outwards, and how large the lens draws in each zone; only what was measured."""
    geometry = report.geometry
    if geometry is None:
        return []
    steps = geometry.distortion.curve if geometry.distortion else []
    bending = Table(
        "Distortion in percent, by the way out from its centre",
        ["way out, corner is 1", "off its place", "small things larger along the radius"],
        [
            [
                f"{step.h:g}",
                *(with_interval(f, unit=False, signed=True) for f in (step.percent, step.local_percent)),
            ]
            for step in steps
        ],
    )
    zones = {row.zone: row.percent for row in geometry.magnification_zones}
    size = Table("Size in percent of the centre's, tilt taken off", ["zone", "size"], zone_rows([zones]))
    return [table for table in (bending, size) if table.rows]


def straightness(report: Report) -> list[Table]:
    """The optical centres side by side, and what stayed and what turned in the turn tests."""
    assembly = report.verdict.assembly if report.verdict else None
    if assembly is None:
        return []
    unit = assembly.centres[0].x.unit if assembly.centres else ""
    centres = Table(
        f"Optical centres from the frame's centre, {unit}, as seen in the picture",
        ["centre of", "to the right", "down"],
        [[c.of, *(with_interval(f, unit=False, signed=True) for f in (c.x, c.y))] for c in assembly.centres],
    )
    tests = Table(
        "Turn tests: what stayed, and what turned with the lens",
        ["of", "whose", "stayed: right", "stayed: down", "turned: right", "turned: down"],
        [_test_row(test) for test in assembly.turn_tests],
        words=2,
    )
    return [table for table in (centres, tests) if table.rows]


def _test_row(test: TurnTest) -> list[str]:
    whose = "neither's beyond chance" if test.cause == "neither" else test.cause
    return [test.of, whose, *(with_interval(part, signed=True) for part in (*test.stays, *test.turns))]
