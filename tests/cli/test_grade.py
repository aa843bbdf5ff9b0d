"""`lensbench grade`: codes, tables, JSON, and the file to begin with."""

import json

import pytest

from lensbench.findings import encode_report
from tests.cli.command import run
from tests.reporter.invented import invented_report


@pytest.fixture
def folder(tmp_path):
    report = invented_report((2.8, 5.6), (1200, 800))
    (tmp_path / "report.json").write_bytes(encode_report(report))
    return tmp_path


def goals(folder, text):
    path = folder / "goals.toml"
    path.write_text(f"[goals]\n{text}\n")
    return path


@pytest.mark.parametrize(("most", "code", "word"), [(1.0, 1, "missed"), (2.0, 0, "met"), (1.34, 1, "too close")])
def test_the_exit_code_is_the_answer(capsys, folder, most, code, word):
    """The invented distortion is -1.342 ± 0.012 %."""
    ran = run(capsys, "grade", folder, goals(folder, f"distortion_percent_most = {most}"))
    assert ran.code == code
    assert word in ran.out
    assert "1.34" in ran.out


def test_json_holds_value_interval_and_limit(capsys, folder):
    ran = run(capsys, "grade", folder / "report.json", goals(folder, "distortion_percent_most = 1"), "--json")
    (one,) = json.loads(ran.out)["goals"]
    assert one["goal"]["most"] == 1.0
    assert one["result"] == "missed"
    assert one["value"]["low"] < one["value"]["value"] == pytest.approx(1.342)


def test_a_goals_file_is_begun_and_never_written_over(capsys, tmp_path):
    path = tmp_path / "goals.toml"
    assert run(capsys, "grade", "--start", path).code == 0
    assert "[goals]" in path.read_text()
    path.write_text("mine")
    ran = run(capsys, "grade", "--start", path)
    assert ran.code == 2
    assert "exists already" in ran.err
    assert path.read_text() == "mine"


def test_what_is_missing_is_said(capsys, folder):
    assert "REPORT GOALS" in run(capsys, "grade", folder).err
    ran = run(capsys, "grade", folder, goals(folder, "f_number = 22\nmarks_most = 0"))
    assert ran.code == 2
    assert "Nothing was measured at f/22" in ran.err
