"""The full demo's two evenings: what is shot in them, what is planted, and that the usual calls measure it."""

import math

import pytest

from lensbench.demo import PLANTED, _full_run, demo_takes, run_full_demo
from lensbench.demo._full_evening import (
    APERTURES,
    GOALS,
    LEAN_DEG,
    leaning_bench,
    leaning_takes,
    mended_bench,
    mended_takes,
)
from lensbench.errors import BenchError
from lensbench.findings import Build
from lensbench.loaders import load_session
from lensbench.run import Measured
from lensbench.simulator import session as simulated
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


def test_the_first_evening_has_all_that_the_bench_can_tell_from():
    takes = leaning_takes()
    marked = [take.marked_f_number or take.f_number for take in takes]
    assert set(marked) == set(APERTURES)
    assert len(APERTURES) == 5
    flats = {mark for mark, take in zip(marked, takes, strict=True) if take.shows == "flat"}
    assert flats == set(APERTURES)
    rails = [mark for mark, take in zip(marked, takes, strict=True) if take.scene.rail_mm]
    assert len(set(rails)) == 2
    assert {take.setup for take in takes} == {1, 2, 3} == {take.setup for take in mended_takes()}
    assert {take.scene.lens_turn_deg for take in takes} == {0.0, 180.0}
    assert len({take.file for take in takes}) == len(takes)


def test_the_iris_sticks_where_it_is_said_to():
    """0.4 stop less light is an f-number 2^0.2 times as large: f/8 opens to f/9.19 (a stop is √2; ISO 517)."""
    (flat,) = [take for take in leaning_takes() if take.file == "w_080.dng"]
    wide = next(take for take in leaning_takes() if take.file == "w_040.dng")
    assert flat.f_number == pytest.approx(9.19, abs=0.01)
    assert flat.marked_f_number == 8.0
    less = math.log2(wide.scene.white / wide.scene.shutter_s / (flat.scene.white / flat.scene.shutter_s))
    assert less - 2 * math.log2(8 / 4) == pytest.approx(0.4)
    assert "f/9.2" in PLANTED[1]


def test_every_shot_is_exposed_as_its_mark_asks():
    """Light over shutter time falls with the square of the marked f-number, but for the iris that sticks."""
    for takes in (leaning_takes(), mended_takes(), demo_takes()):
        for shows in ("target", "flat"):
            light = {
                (take.marked_f_number or take.f_number): take.scene.white / take.scene.shutter_s
                for take in takes
                if take.shows == shows
            }
            first = min(light)
            for mark, here in light.items():
                sticks = 0.4 if mark == 8.0 and len(light) == len(APERTURES) else 0.0
                assert math.log2(light[first] / here) == pytest.approx(2 * math.log2(mark / first) + sticks)


def test_only_the_lean_is_mended():
    before, after = leaning_bench(), mended_bench()
    assert before.lens.lean_deg == LEAN_DEG
    assert after.lens.lean_deg == (0.0, 0.0)
    assert before.camera == after.camera
    assert before.date < after.date
    assert f"{math.hypot(*LEAN_DEG):.2g}°" in PLANTED[0]


@pytest.fixture
def quick(monkeypatch):
    """Nothing is rendered; reports are invented."""
    seen = []

    def measured(session, progress):
        progress(1, 1, "x.dng")
        seen.append(session)
        report = invented_report((5.6,), (1200, 800), clean=True)
        alter(report, build=Build(session.build.name, date=session.build.date))
        return Measured(report, [])

    monkeypatch.setattr(simulated, "_take", lambda folder, bench, take: (folder / take.file).write_bytes(b"shot"))
    monkeypatch.setattr(simulated, "truth_text", lambda bench, takes, truths: "{}")
    monkeypatch.setattr(_full_run, "JOBS", 1)
    monkeypatch.setattr(_full_run, "measure_with_views", measured)
    return seen


def test_both_builds_are_measured_written_and_compared(quick, tmp_path):
    told = []
    shown = run_full_demo(tmp_path / "reports", tmp_path / "kept", lambda *one: told.append(one))
    assert [build.report.build.name for build in shown.builds] == [leaning_bench().name, mended_bench().name]
    assert [change.before.name for change in shown.comparison.changes] == [leaning_bench().name]
    for page in (*(build.folder / "report.html" for build in shown.builds), shown.compared / "comparison.html"):
        assert page.is_file()
    first, _ = quick
    assert first.goals.f_number == GOALS["f_number"]
    assert {goal.what for goal in first.goals.wanted} >= {"magnification", "mtf50_lp_mm"}
    assert load_session(tmp_path / "kept" / "after").build.date == mended_bench().date
    done = [one[0] for one in told]
    assert done == sorted(done)
    assert told[-1][0] == told[-1][1]


def test_a_folder_with_something_in_it_is_left_alone(quick, tmp_path):
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "mine.txt").write_text("mine")
    with pytest.raises(BenchError, match="not empty"):
        run_full_demo(tmp_path / "reports", tmp_path / "kept")
    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["mine.txt"]
    assert not (tmp_path / "reports").exists()
