"""An evening's shots judged, and what they leave open."""

import shutil

import pytest

from lensbench.errors import BenchError
from lensbench.loaders.session_keys import ShotEntry
from lensbench.watch import Look, judge_evening
from lensbench.watch._open import open_questions


@pytest.fixture(scope="module")
def evening(bench_folder):
    return judge_evening(bench_folder)


def test_each_spoiled_shot_is_named_with_its_cause_and_no_good_one(evening):
    """What was done to each shot is the simulated bench's truth; all were taken at f/5.6."""
    codes = {look.file.removesuffix(".dng"): {problem.code for problem in look.problems} for look in evening.looks}
    assert codes["good"] == codes["again"] == codes["even"] == set()
    for name, code in {
        "clipped": "clipped",
        "dark": "dark",
        "shifted": "partly-covered",
        "soft": "blurred",
        "softer": "softer-than-its-like",
        "shaken": "motion",
    }.items():
        assert code in codes[name], name


def test_a_shot_listed_as_another_kind_says_so(bench_folder, tmp_path):
    folder = tmp_path / "wrong"
    folder.mkdir()
    for name in ("even.dng", "target.json"):
        shutil.copy(bench_folder / name, folder)
    (folder / "session.toml").write_text('[[shot]]\nfile = "even.dng"\nshows = "target"\nf_number = 5.6\n')
    (look,) = judge_evening(folder).looks
    assert [problem.code for problem in look.problems] == ["listed-wrongly"]
    assert 'shows = "flat"' in look.problems[0].text


def test_flats_alone_need_no_sheet_and_an_unfinished_file_is_judged_as_far_as_it_goes(bench_folder, tmp_path):
    folder = tmp_path / "flats"
    folder.mkdir()
    shutil.copy(bench_folder / "even.dng", folder)
    (folder / "session.toml").write_text(
        '[[shot]]\nfile = "even.dng"\nshows = "flat"\n[[shot]]\nfile = "gone.dng"\nshows = "flat"\n'
        '[[shot]]\nfile = "even.dng"\nshows = ""\n'
    )
    evening = judge_evening(folder)
    assert [look.file for look in evening.looks] == ["even.dng"]
    assert evening.looks[0].good
    assert "panel" in {one.code for one in evening.open}


def test_no_session_file(tmp_path):
    (tmp_path / "a.dng").write_bytes(b"x")
    with pytest.raises(BenchError, match="lensbench session"):
        judge_evening(tmp_path)


TARGET, FLAT = (
    {"file": "t.dng", "shows": "target", "f_number": 5.6},
    {"file": "w.dng", "shows": "flat", "f_number": 5.6},
)


def asked(*entries, magnification=None):
    looks = [Look(entry["file"], magnification=magnification, f_number=5.6) for entry in entries]
    return {one.code: one for one in open_questions([ShotEntry(**entry) for entry in entries], looks)}


def test_what_a_target_and_a_flat_leave_open():
    assert set(asked(TARGET, FLAT)) == {
        "rail",
        "turn",
        "panel",
        "repeat",
        "aperture",
        "small-aperture",
        "linearity",
    }


@pytest.mark.parametrize(
    ("more", "answered"),
    [
        ([{**TARGET, "rail_mm": 1.0}, {**TARGET, "rail_mm": 2.0}], "rail"),
        ([{**TARGET, "lens_turn_deg": 90}], "turn"),
        ([{**FLAT, "panel": 2}], "panel"),
        ([{**TARGET, "setup": 2}], "repeat"),
        ([{**TARGET, "f_number": 8.0}], "aperture"),
        ([{**FLAT, "f_number": 11.0}], "small-aperture"),
        ([TARGET], "linearity"),
    ],
)
def test_shots_that_answer_close_their_question(more, answered):
    assert answered not in asked(TARGET, FLAT, *more)


def test_apertures_at_which_one_sheet_is_missing():
    found = asked(TARGET, FLAT, {**TARGET, "f_number": 8.0}, {**FLAT, "f_number": 11.0})
    assert "f/8" in found["flat"].question
    assert "f/5.6" not in found["flat"].question
    assert "f/11" in found["target"].question


def test_a_close_up_needs_a_rail_and_is_told_its_steps():
    """Depth of field to one side by the quarter-wave rule, 2 λ N_eff² / m² before the lens: at f/5.6 and 1×, 550
    nm, 0.138 mm (Smith, Modern Optical Engineering; memory); half of that is a step."""
    question = asked(TARGET, FLAT, magnification=1.0)["rail"]
    assert "no single focusing is good enough" in question.question
    assert "0.069 mm apart at f/5.6" in question.shots
    assert "no single" not in asked(TARGET, FLAT, magnification=0.1)["rail"].question


def test_apertures_that_are_not_written_down_yet_ask_nothing():
    plain = {"file": "t.dng", "shows": "target"}
    assert not {"aperture", "flat", "target"} & set(asked(plain, FLAT))
