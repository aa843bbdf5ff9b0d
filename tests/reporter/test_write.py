"""The report's folder: whole or not at all, and never over what isn't its own."""

import json

import jsonschema
import pytest

from lensbench.errors import BenchError
from lensbench.findings import read_report, report_schema
from lensbench.reporter import write
from lensbench.reporter.write import folder_name, write_report_folder
from tests.reporter.invented import invented_report


@pytest.fixture(autouse=True)
def quick_drawings(monkeypatch):
    """What the folder holds is tested here, not how it looks."""
    monkeypatch.setattr(write, "write_zone_map", lambda report, path: path.write_bytes(b"map"))
    monkeypatch.setattr(
        write, "write_page", lambda report, path, zone_map: path.write_text(f"page {report.session}")
    )


@pytest.fixture
def report():
    return invented_report((2.8,), (300, 200))


@pytest.mark.parametrize(
    ("name", "folder"),
    [
        ("Porthole 38, third spacing", "porthole-38-third-spacing"),
        ("Täler & Höhen", "taler-hohen"),
        ("../../etc/passwd", "etc-passwd"),
        ("C:\\lens", "c-lens"),
        ("nul", "build-nul"),
        ("...", "build"),
        ("", "build"),
        ("f/2.8 test", "f-2.8-test"),
        ("レンズ一号", "レンズ一号"),
        ("x" * 300, "x" * 60),
        ("line\nbreak\ttab", "line-break-tab"),
    ],
)
def test_any_build_name_makes_a_folder_name(name, folder):
    assert folder_name(name) == folder


def test_folder_holds_everything_and_reads_back(tmp_path, report):
    folder = write_report_folder(report, tmp_path / "reports")
    assert folder == tmp_path / "reports" / "porthole-38-third-spacing"
    assert read_report(folder / "report.json") == report
    names = {path.name for path in folder.iterdir()}
    assert {"report.json", "report.html", "zone_map.png", "sharpness_zones.csv", "dirt_marks.csv"} <= names
    assert list(folder.parent.iterdir()) == [folder]
    jsonschema.validate(json.loads((folder / "report.json").read_text()), report_schema())


def test_the_same_session_replaces_its_own(tmp_path, report):
    write_report_folder(report, tmp_path)
    report.warnings = []
    report.settings[0].dust.marks = []
    folder = write_report_folder(report, tmp_path)
    assert read_report(folder / "report.json").warnings == []
    assert not (folder / "dirt_marks.csv").exists(), "a table of the earlier run is left behind"


def test_another_session_is_refused_unless_told(tmp_path, report):
    folder = write_report_folder(report, tmp_path)
    before = (folder / "report.json").read_bytes()
    report.session = "elsewhere"
    with pytest.raises(BenchError, match=r"another session \(bench-november\).*--replace"):
        write_report_folder(report, tmp_path)
    assert (folder / "report.json").read_bytes() == before
    write_report_folder(report, tmp_path, replace=True)
    assert read_report(folder / "report.json").session == "elsewhere"


@pytest.mark.parametrize("replace", [False, True])
def test_a_folder_of_something_else_is_never_touched(tmp_path, report, replace):
    folder = tmp_path / folder_name(report.build.name)
    folder.mkdir()
    (folder / "holiday.jpg").write_bytes(b"dear")
    with pytest.raises(BenchError, match="no report"):
        write_report_folder(report, tmp_path, replace)
    assert (folder / "holiday.jpg").read_bytes() == b"dear"


def test_a_file_in_the_way_is_named(tmp_path, report):
    (tmp_path / folder_name(report.build.name)).write_text("in the way")
    with pytest.raises(BenchError, match="is a file"):
        write_report_folder(report, tmp_path)
    with pytest.raises(BenchError, match="can't be written"):
        write_report_folder(report, tmp_path / folder_name(report.build.name) / "below")


def test_a_failure_half_way_leaves_the_earlier_report_whole(tmp_path, report, monkeypatch):
    folder = write_report_folder(report, tmp_path)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}

    def fail(*arguments):
        raise RuntimeError("out of paper")

    monkeypatch.setattr(write, "write_page", fail)
    with pytest.raises(RuntimeError):
        write_report_folder(report, tmp_path)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert list(tmp_path.iterdir()) == [folder]


def test_a_damaged_report_is_not_written_over_without_a_word(tmp_path, report):
    folder = write_report_folder(report, tmp_path)
    (folder / "report.json").write_text("{}")
    with pytest.raises(BenchError, match=r"can't read.*--replace"):
        write_report_folder(report, tmp_path)
    write_report_folder(report, tmp_path, replace=True)
