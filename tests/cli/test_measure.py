"""`lensbench measure` on a small session of another renderer: what it prints, writes and refuses."""

import json
import re
import shutil

import pytest

from lensbench import pipeline
from lensbench.findings import read_report
from tests.cli.command import run


@pytest.fixture(autouse=True)
def one_at_a_time(monkeypatch):
    """Starting processes takes longer than so small a session."""
    monkeypatch.setattr(pipeline, "_room_for", lambda: 1)


@pytest.fixture(scope="module")
def measured(outside, tmp_path_factory):
    """The session measured once: the folder of reports."""
    import contextlib
    import io

    from lensbench.cli import main

    out = tmp_path_factory.mktemp("reports")
    printed = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(printed):
        patch.setattr(pipeline, "_room_for", lambda: 1)
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
    assert report["format"] == "lensbench-report/1"
    assert report == json.loads((tmp_path / "outside-build" / "report.json").read_text())


def test_another_sessions_report_is_kept_unless_told(capsys, outside, measured, tmp_path):
    other = tmp_path / "other evening"
    shutil.copytree(outside[0], other)
    text = (other / "session.toml").read_text()
    head, _, flat = text.split("[[shot]]")
    (other / "session.toml").write_text(f"{head}[[shot]]{flat}")
    before = (measured[0] / "outside-build" / "report.json").read_bytes()
    ran = run(capsys, "measure", other, "--out", measured[0])
    assert ran.code == 2 and "--replace" in ran.err and ran.out == ""
    assert (measured[0] / "outside-build" / "report.json").read_bytes() == before
