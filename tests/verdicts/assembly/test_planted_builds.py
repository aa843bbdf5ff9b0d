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
