"""`lensbench measure` on a small session of another renderer: what it prints, writes and refuses."""

import json
import re
import shutil

import pytest

from lensbench.findings import read_report
from lensbench.run import _work
from tests.cli.command import run


@pytest.fixture(autouse=True)
def one_at_a_time(monkeypatch):
    """Starting processes takes longer than so small a session."""
    monkeypatch.setattr(_work, "workers_at_once", lambda: 1)


@pytest.fixture(scope="module")
def measured(outside, tmp_path_factory):
    """The session measured once: the folder of reports."""
    import contextlib
    import io

    from lensbench.cli import main

    out = tmp_path_factory.mktemp("reports")
    printed = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(printed):
        patch.setattr(_work, "workers_at_once", lambda: 1)
        with pytest.raises(SystemExit) as left:
            main(["measure", str(outside[0]), "--out", str(out)])
    assert not left.value.code
    return out, printed.getvalue()


def test_report_is_written(measured):
    folder = measured[0] / "outside-build"
    names = {path.name for path in folder.iterdir()}
    assert {"zone_map.png", "report.html", "report.json", "sharpness_zones.csv", "falloff_zones.csv"} <= names
    assert read_report(folder / "report.json").build.name == "Outside build"


def test_a_table_stands_at_the_end(measured):
    out = measured[1]
    assert re.search(r"f/5\.6 +\d+\.\d+ ± 0\.\d+ +\d+\.\d+ ± 0\.\d+", out)
    assert out.rstrip().endswith("report.html")


def test_json_is_the_report_and_nothing_else(capsys, outside, measured, tmp_path):
    ran = run(capsys, "measure", outside[0], "--out", tmp_path, "--json")
    assert ran.code == 0
    report = json.loads(ran.out)
    assert report["format"] == "lensbench-report/2"
    assert report == json.loads((tmp_path / "outside-build" / "report.json").read_text())


def test_a_report_of_other_shots_is_kept_unless_told(capsys, outside, measured, tmp_path):
    """A session that lacks a shot of the report there goes beside it; one that holds them all replaces it."""
    other, out = tmp_path / "other evening", tmp_path / "reports"
    shutil.copytree(outside[0], other)
    shutil.copytree(measured[0], out)
    text = (other / "session.toml").read_text()
    head, _, flat = text.split("[[shot]]")
    (other / "session.toml").write_text(f"{head}[[shot]]{flat}")
    before = (out / "outside-build" / "report.json").read_bytes()
    ran = run(capsys, "measure", other, "--out", out)
    assert ran.code == 0
    assert "other shots" in ran.err
    assert f"This one is in {out / 'outside-build-2'}." in ran.err
    assert (out / "outside-build" / "report.json").read_bytes() == before
    assert "other shots" not in run(capsys, "measure", outside[0], "--out", out).err
    assert run(capsys, "measure", other, "--out", out, "--replace").code == 0
    assert (out / "outside-build" / "report.json").read_bytes() != before


def with_goals(outside, tmp_path, goals):
    folder = tmp_path / "evening"
    shutil.copytree(outside[0], folder)
    with (folder / "session.toml").open("a") as file:
        file.write(f"\n[goals]\n{goals}\n")
    return folder


@pytest.mark.parametrize(("goal", "code", "said"), [("0.5", 1, "Goal missed"), ("3", 0, "Goal met")])
def test_goals_of_the_session_file_are_graded(capsys, outside, tmp_path, goal, code, said):
    """The renderer's light falls by one stop; the answers start with the goals, and the exit code is theirs."""
    folder = with_goals(outside, tmp_path, f"corner_falloff_stops_most = {goal}")
    ran = run(capsys, "measure", folder, "--out", tmp_path / "reports")
    assert ran.code == code
    first, *_ = ran.out.split("Answers")[1].strip().split("\n")
    assert first.startswith("Goals")
    assert said in first
    report = read_report(tmp_path / "reports" / "outside-build" / "report.json")
    (graded,) = report.verdict.goals.goals
    assert graded.result == ("missed" if code else "met")
    assert graded.value.low <= graded.value.value <= graded.value.high
    page = (tmp_path / "reports" / "outside-build" / "report.html").read_text()
    assert page.index(said) < page.index("Which aperture?")


def test_wrong_goals_are_named_with_their_line_before_anything_is_measured(capsys, outside, tmp_path):
    folder = with_goals(outside, tmp_path, "corner_faloff_stops_most = 1")
    ran = run(capsys, "measure", folder, "--out", tmp_path / "reports")
    assert ran.code == 2
    line = (folder / "session.toml").read_text().split("\n").index("corner_faloff_stops_most = 1") + 1
    assert f"session.toml, line {line}: the key corner_faloff_stops_most is unknown" in ran.err
    assert "corner_falloff_stops_most" in ran.err
    assert not (tmp_path / "reports").exists()


def test_answers_stand_below_the_figures(measured):
    out = measured[1]
    answers = out[out.index("Answers") :]
    for question in ("Which aperture", "How sharp", "Assembly", "Where to wipe", "Better or worse"):
        assert question in answers
    assert "\x1b" not in out
    assert max(map(len, out.split("\nNow open")[0].split("\n"))) <= 80


def test_quiet_says_where_the_report_is_and_verbose_every_piece(capsys, outside, tmp_path):
    ran = run(capsys, "measure", outside[0], "--out", tmp_path, "--quiet")
    assert (ran.code, ran.out) == (0, f"{tmp_path / 'outside-build'}\n")
    err = run(capsys, "measure", outside[0], "--out", tmp_path, "--verbose").err
    for entry in json.loads((tmp_path / "outside-build" / "report.json").read_text())["shots"]:
        assert entry["file"] in err


@pytest.mark.parametrize("pair", [("--quiet", "--verbose"), ("--json", "--quiet")])
def test_options_that_contradict_each_other_are_refused(capsys, outside, tmp_path, pair):
    ran = run(capsys, "measure", outside[0], "--out", tmp_path / "r", *pair)
    assert ran.code == 2
    assert "contradict" in ran.err
    assert not (tmp_path / "r").exists()
