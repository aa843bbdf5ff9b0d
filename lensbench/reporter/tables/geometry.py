"""Tables of geometry: size and view, distortion by radius, size by zone, the optical centres, the turn tests."""

from __future__ import annotations

from lensbench.findings import Geometry, Report, TurnTest
from lensbench.formatting import NOT_MEASURED, magnitude, with_interval
from lensbench.reporter.tables.table import Table, zone_rows


def size_and_view(report: Report) -> Table | None:
    """What was measured of size, view and the target's position; None without anything."""
    geometry = report.geometry
    if geometry is None:
        return None
    view = geometry.view
    lines = [
        ("Reproduction ratio", with_interval(geometry.magnification)),
        ("The frame takes in", _covers(geometry)),
        ("Distortion at the corner", with_interval(geometry.distortion_percent, signed=True)),
        ("A line along the long side bows by", _bow(geometry)),
        ("Field of view over the diagonal", with_interval(geometry.field_of_view_deg)),
        ("Focal length", with_interval(view.focal_length_mm if view else None)),
        ("Target in front of the entrance pupil", with_interval(view.pupil_to_target_mm if view else None)),
        ("Target turned by", with_interval(geometry.target_turn_deg)),
        ("Target tilted by", with_interval(geometry.target_tilt_deg)),
        ("Ink spread over the target's edges by", with_interval(geometry.ink_spread_um)),
    ]
    rows = [[name, text] for name, text in lines if text != NOT_MEASURED]
    caption = f"Measured on {geometry.shot}" if geometry.shot else "Measured on the target"
    return Table(caption, ["what", "figure"], rows, words=2) if rows else None


def finer_size(report: Report) -> list[Table]:
    """How distortion grows outwards, and how large the lens draws in each zone; only what was measured."""
    geometry = report.geometry
    if geometry is None:
        return []
    steps = geometry.distortion.curve if geometry.distortion else []
    distortion = Table(
        "Distortion in percent, by radial distance from its centre",
        ["radial distance (corner is 1)", "displacement", "local size along the radius"],
        [
            [
                f"{step.h:g}",
                *(with_interval(f, unit=False, signed=True) for f in (step.percent, step.local_percent)),
            ]
            for step in steps
        ],
    )
    zones = {row.zone: row.percent for row in geometry.magnification_zones}
    size = Table(
        "Size in percent of the centre's, tilt of the target taken off", ["zone", "size"], zone_rows([zones])
    )
    return [table for table in (distortion, size) if table.rows]


def assembly_tables(report: Report) -> list[Table]:
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
        ["of", "caused by", "stayed: right", "stayed: down", "turned: right", "turned: down"],
        [_test_row(test) for test in assembly.turn_tests],
        words=2,
    )
    return [table for table in (centres, tests) if table.rows]


def _covers(geometry: Geometry) -> str:
    if geometry.covers_mm is None:
        return NOT_MEASURED
    across, down = (with_interval(figure, unit=False) for figure in geometry.covers_mm)
    return f"{across} by {down} mm of the sheet"


def _bow(geometry: Geometry) -> str:
    bow = geometry.distortion.bow_percent if geometry.distortion else None
    return NOT_MEASURED if bow is None else f"{with_interval(magnitude(bow))} of the picture's height"


def _test_row(test: TurnTest) -> list[str]:
    cause = "neither, beyond chance" if test.cause == "neither" else test.cause
    return [test.of, cause, *(with_interval(part, signed=True) for part in (*test.stays, *test.turns))]
