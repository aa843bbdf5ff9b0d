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
