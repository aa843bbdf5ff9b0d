"""The report's folder: whole or not at all, and never over what isn't its own."""

import hashlib
import json

import jsonschema
import msgspec
import pytest

from lensbench.errors import BenchError
from lensbench.findings import ShotDigest, encode_report, read_report, report_schema
from lensbench.reporter import write
from lensbench.reporter.write import check_report_place, folder_name, write_report
from tests.findings.alter import alter
from tests.folders import holdings
from tests.reporter.invented import invented_report


@pytest.fixture(autouse=True)
def quick_drawings(monkeypatch):
    """What the folder holds is tested here, not how it looks."""
    monkeypatch.setattr(write, "zone_map_png", lambda report: b"map")
    monkeypatch.setattr(write, "page_text", lambda report, zone_map, views: f"page of {report.session}")


@pytest.fixture
def report():
    report = invented_report((2.8,), (300, 200))
    alter(report, shots=[ShotDigest("t_28.dng", "aa"), ShotDigest("w_28.dng", "bb")])
    return report


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
    folder, note = write_report(report, tmp_path / "reports")
    assert folder == tmp_path / "reports" / "porthole-38-third-spacing"
    assert note is None
    read = read_report(folder / "report.json")
    names = {path.name for path in folder.iterdir()}
    assert {"report.json", "report.html", "zone_map.png", "sharpness_zones.csv", "dirt_marks.csv"} <= names
    assert {file.name for file in read.files} == names
    assert msgspec.structs.replace(read, files=[]) == report
    assert list(folder.parent.iterdir()) == [folder]
    jsonschema.validate(json.loads((folder / "report.json").read_text()), report_schema())


def test_the_list_holds_sizes_and_digests_and_the_report_s_own_without_the_list(tmp_path, report):
    """Digests by the standard library; the report's is of all that stands before its last key."""
    folder, _ = write_report(report, tmp_path)
    *others, own = read_report(folder / "report.json").files
    for file in others:
        content = (folder / file.name).read_bytes()
        assert (file.size, file.sha256) == (len(content), hashlib.sha256(content).hexdigest())
    head = (folder / "report.json").read_bytes().partition(b'"files": [')[0]
    assert (own.name, own.sha256) == ("report.json", hashlib.sha256(head).hexdigest())


@pytest.mark.parametrize("more", [[], [ShotDigest("late.dng", "cc")]])
def test_a_session_with_every_shot_of_the_report_replaces_it(tmp_path, report, more):
    """Wherever they lie, whatever they are called, and whatever was corrected in their entries."""
    write_report(report, tmp_path)
    alter(report, session="elsewhere")
    alter(report.settings[0].dust, marks=[])
    alter(report, shots=[ShotDigest("renamed.dng", shot.sha256) for shot in report.shots] + more)
    folder, note = write_report(report, tmp_path)
    assert note is None
    assert read_report(folder / "report.json").session == "elsewhere"
    assert not (folder / "dirt_marks.csv").exists(), "a table of the earlier run is left behind"


def test_a_session_that_lacks_a_shot_goes_beside_and_says_so(tmp_path, report):
    folder, _ = write_report(report, tmp_path)
    before = holdings(folder)
    alter(report, session="elsewhere", shots=[report.shots[0], ShotDigest("w_28.dng", "cc")])
    for _ in range(2):
        beside, note = write_report(report, tmp_path)
        assert beside.name == f"{folder.name}-2"
        assert note.startswith(f"{folder}: holds the report of other shots")
        assert note.endswith(f"{beside}.")
        assert holdings(folder) == before
    replaced, note = write_report(report, tmp_path, replace=True)
    assert replaced == folder
    assert note is None
    assert read_report(folder / "report.json").session == "elsewhere"


@pytest.mark.parametrize("replace", [False, True])
def test_a_folder_of_something_else_is_never_touched(tmp_path, report, replace):
    folder = tmp_path / folder_name(report.build.name)
    folder.mkdir()
    (folder / "holiday.jpg").write_bytes(b"dear")
    beside, note = write_report(report, tmp_path, replace)
    assert beside != folder
    assert "holds files that are no report" in note
    assert holdings(folder) == {"holiday.jpg": hashlib.sha256(b"dear").hexdigest()}


@pytest.mark.parametrize("name", ["t_28.dng", "scan.TIF", "session.toml", "target.json"])
@pytest.mark.parametrize("replace", [False, True])
def test_a_folder_with_shots_a_session_or_a_target_is_refused(tmp_path, report, name, replace):
    """Moved into last week's report folder, as it happens."""
    folder, _ = write_report(report, tmp_path)
    (folder / name).write_bytes(b"an evening's work")
    before = holdings(tmp_path)
    with pytest.raises(BenchError, match=f"holds {name}, which is yours"):
        write_report(report, tmp_path, replace)
    assert holdings(tmp_path) == before


def test_notes_and_pictures_in_a_report_s_folder_stay(tmp_path, report):
    folder, _ = write_report(report, tmp_path)
    (folder / "lens.jpg").write_bytes(b"the build")
    (folder / "drafts").mkdir()
    (folder / "drafts" / "notes.txt").write_text("shim of 0.1 mm")
    again, note = write_report(report, tmp_path)
    assert again == folder
    assert note is None
    assert (folder / "lens.jpg").read_bytes() == b"the build"
    assert (folder / "drafts" / "notes.txt").read_text() == "shim of 0.1 mm"


@pytest.mark.parametrize("replace", [False, True])
@pytest.mark.parametrize("name", ["report.html", "sharpness_zones.csv", "report.json"])
def test_a_report_that_was_changed_is_kept(tmp_path, report, name, replace):
    folder, _ = write_report(report, tmp_path)
    with (folder / name).open("ab") as file:
        file.write(b"\nmy remarks\n")
    before = holdings(folder)
    beside, note = write_report(report, tmp_path, replace)
    assert beside != folder
    assert "not as this program wrote it" in note
    assert "is kept" in note
    assert holdings(folder) == before


@pytest.mark.parametrize("replace", [False, True])
def test_a_report_without_a_list_is_never_replaced(tmp_path, report, replace):
    """As earlier versions wrote them."""
    folder = tmp_path / folder_name(report.build.name)
    folder.mkdir()
    (folder / "report.json").write_bytes(encode_report(report))
    before = holdings(folder)
    assert write_report(report, tmp_path, replace).folder != folder
    assert holdings(folder) == before


def test_a_file_in_the_way_is_named(tmp_path, report):
    (tmp_path / folder_name(report.build.name)).write_text("in the way")
    for build in (report.build.name, "below"):
        place = tmp_path if build != "below" else tmp_path / folder_name(report.build.name)
        with pytest.raises(BenchError, match=r"is a file|can't be written"):
            check_report_place(place, build)
    with pytest.raises(BenchError, match="is a file"):
        write_report(report, tmp_path)
    with pytest.raises(BenchError, match=r"can't hold others|can't be written"):
        write_report(report, tmp_path / folder_name(report.build.name) / "below")


def test_a_place_that_can_be_written_to_passes_and_stays_as_it_is(tmp_path):
    check_report_place(tmp_path / "new" / "reports", "Porthole")
    assert list(tmp_path.iterdir()) == []


def test_a_failure_half_way_leaves_the_earlier_report_whole(tmp_path, report, monkeypatch):
    write_report(report, tmp_path)
    before = holdings(tmp_path)

    def fail(*arguments):
        raise RuntimeError("out of paper")

    monkeypatch.setattr(write, "page_text", fail)
    with pytest.raises(RuntimeError):
        write_report(report, tmp_path)
    assert holdings(tmp_path) == before
