"""Bad input through the command line: one clear message, exit 2 and nothing written, or left out of the rest."""

import shutil

import pytest

from lensbench.findings import read_report
from lensbench.run import _work
from tests.cli.bad_files import BAD_FILES
from tests.cli.command import run


@pytest.fixture(autouse=True)
def one_at_a_time(monkeypatch):
    monkeypatch.setattr(_work, "workers_at_once", lambda: 1)


@pytest.fixture
def bench(outside, tmp_path, monkeypatch):
    """An empty folder beside a layout, and a function that lists shots in its session file."""
    folder = tmp_path / "bench"
    folder.mkdir()
    shutil.copy(outside[2], folder / "target.json")
    monkeypatch.chdir(tmp_path)

    def listing(*shots):
        text = '[build]\nname = "Bad evening"\n'
        for name, shows in shots:
            text += f'[[shot]]\nfile = "{name}"\nshows = "{shows}"\nf_number = 8\n'
            text += 'encoding = "linear"\n' if name.endswith((".tif", ".png")) else ""
        (folder / "session.toml").write_text(text)

    return folder, listing


def assert_refused(ran, tmp_path, *words):
    assert ran.code == 2
    assert ran.out == ""
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize("json", [(), ("--json",)])
@pytest.mark.parametrize("shows", ["target", "flat"])
@pytest.mark.parametrize("name", BAD_FILES)
def test_a_bad_file_alone_is_refused_by_name(capsys, bench, outside, tmp_path, name, shows, json):
    folder, listing = bench
    BAD_FILES[name](folder / name, outside[0] / "sheet.dng")
    listing((name, shows))
    if (name, shows) == ("holiday.png", "flat"):
        pytest.skip("whether a photograph is an even light is for falloff and dirt to say")
    assert_refused(run(capsys, "measure", "bench", *json), tmp_path, name)


def test_bad_files_beside_a_good_one_are_named_and_left_out(capsys, bench, outside, tmp_path):
    folder, listing = bench
    shutil.copy(outside[0] / "even.dng", folder)
    # A folder can't be listed as a shot at all: the session file says so before anything is measured.
    names = [name for name in BAD_FILES if name != "x.dng"]
    for name in names:
        BAD_FILES[name](folder / name, outside[0] / "sheet.dng")
    listing(("even.dng", "flat"), *((name, "target") for name in names))
    ran = run(capsys, "measure", "bench")
    assert ran.code == 0
    report = read_report(tmp_path / "reports" / "bad-evening" / "report.json")
    assert [setting.shots for setting in report.settings] == [["even.dng"]]
    assert {w.shot for w in report.warnings if w.code == "left-out"} == set(names)
    for name in names:
        assert name in ran.err


def test_an_empty_folder(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bench").mkdir()
    assert_refused(run(capsys, "measure", "bench"), tmp_path, "bench", "empty", "lensbench session")


def test_no_session_file(capsys, bench, outside, tmp_path):
    shutil.copy(outside[0] / "sheet.dng", bench[0])
    assert_refused(run(capsys, "measure", "bench"), tmp_path, "session.toml", "lensbench session bench")


def test_no_such_folder_and_a_file_for_a_folder(capsys, bench, tmp_path):
    assert_refused(run(capsys, "measure", "benhc"), tmp_path, "benhc", "no such folder")
    assert_refused(run(capsys, "measure", "bench/target.json"), tmp_path, "is a file")


def test_a_shot_that_is_not_there(capsys, bench, tmp_path):
    listing = bench[1]
    listing(("t_056.dng", "target"))
    assert_refused(run(capsys, "measure", "bench"), tmp_path, "session.toml, line", "t_056.dng")


def test_no_layout_of_the_target(capsys, bench, outside, tmp_path):
    folder, listing = bench
    shutil.copy(outside[0] / "sheet.dng", folder)
    (folder / "target.json").unlink()
    listing(("sheet.dng", "target"))
    assert_refused(run(capsys, "measure", "bench"), tmp_path, "target.json")


def test_a_layout_that_is_none(capsys, bench, outside, tmp_path):
    folder, listing = bench
    shutil.copy(outside[0] / "sheet.dng", folder)
    (folder / "target.json").write_text('{"format": "something else"}')
    listing(("sheet.dng", "target"))
    assert_refused(run(capsys, "measure", "bench"), tmp_path, "target.json")


def test_reports_that_cannot_be_written(capsys, bench, outside, tmp_path):
    folder, listing = bench
    shutil.copy(outside[0] / "even.dng", folder)
    listing(("even.dng", "flat"))
    (tmp_path / "full").write_text("a file where the folder should go")
    ran = run(capsys, "measure", "bench", "--out", "full")
    assert_refused(ran, tmp_path, "full", "--out")


def test_what_a_terminal_would_obey_is_written_out(tmp_path, capsys):
    path = tmp_path / "\x1b]0;owned\x07\x1b[2J.dng"
    path.write_bytes(b"\0" * 600)
    ran = run(capsys, "check", path)
    assert ran.code == 2
    assert "\\x1b[2J.dng" in ran.err
    assert "\x1b" not in ran.out + ran.err


def test_a_fault_of_the_program_is_a_sentence_that_says_how_to_report_it(tmp_path, capsys, monkeypatch):
    def fail(*_):
        raise RuntimeError("odd")

    (tmp_path / "a.dng").write_bytes(b"\0" * 600)
    monkeypatch.setattr("lensbench.loaders.read_shot", fail)
    monkeypatch.delenv("LENSBENCH_TRACEBACK")
    ran = run(capsys, "check", tmp_path / "a.dng")
    assert ran.code == 2
    assert "a mistake of its own (RuntimeError: odd) in cli/check.py, line " in ran.err
    assert "Please report it" in ran.err
