"""Builds with planted faults, by the simulated lens's own pupil: `tests/bench/assembly.py`, shortened."""

import pytest

from lensbench.verdicts.assembly import judge_assembly
from tests.bench.assembly import FLANGE_MM, judged_right, planted, shots
from tests.planted_builds import CAMERA

CASES = [
    *((fault, False) for fault in ("lens", "mount or sensor", "front group", "target", "nothing", "curved")),
    *((fault, True) for fault in ("lens", "nothing")),
]


@pytest.mark.parametrize(("fault", "rail"), CASES)
def test_planted_faults_are_named(fault, rail):
    build = planted(fault, 9_000)
    verdict = judge_assembly(shots(build, fault, rail), CAMERA, FLANGE_MM)
    assert judged_right(build, fault, rail, verdict)
    assert (verdict.answer == "not straight") == (fault in ("lens", "mount or sensor", "front group"))
    for part in verdict.faults:
        if part.what == "lean" and part.angle_deg and not rail and part.whose == "lens":
            planted_deg = (build.lean_deg[0] ** 2 + build.lean_deg[1] ** 2) ** 0.5
            # A lens is no perfect lens out of focus: 10 % by the model, 5 % of the interval's own.
            assert part.angle_deg.value == pytest.approx(planted_deg, rel=0.15)


@pytest.mark.parametrize(("fault", "whose"), [("lens", "lens"), ("mount or sensor", "mount or sensor")])
def test_single_shots_turned_name_the_lean_that_a_series_found(fault, whose):
    """One series along the rail, and the lens turned in single shots: the series' angle, and whose it is."""
    build = planted(fault, 9_000)
    settings = [build.series(), build.setting(180.0), build.setting(90.0)]
    verdict = judge_assembly(settings, CAMERA, FLANGE_MM)
    leans = [part for part in verdict.faults if part.what == "lean"]
    assert [part.whose for part in leans] == [whose]
    assert leans[0].evidence.startswith("the series along the rail, and it ")
    lean = build.lean_deg if fault == "lens" else build.camera_deg
    assert leans[0].angle_deg.value == pytest.approx((lean[0] ** 2 + lean[1] ** 2) ** 0.5, rel=0.05)
