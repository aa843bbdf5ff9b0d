"""`lensbench compare` as a user runs it: what it says, what it writes, what it refuses."""

import json

import msgspec
import numpy as np
import pytest

from lensbench.cli import main
from lensbench.findings import Build, ShotDigest, encode_report, files_as_written
from lensbench.findings.comparison import Comparison
from tests.verdicts.comparison.drawn_builds import drawn_report


@pytest.fixture
def build(tmp_path):
    """Write the report of a drawn build; gives its folder."""

    def written(name, setups, sharper=1.0, date="", seed=1, **changes):
        report = drawn_report(np.random.default_rng(seed), setups, sharper=sharper)
        report = msgspec.structs.replace(
            report, build=Build(name, [f"part of {name}"], f"notes of {name}", date),
            shots=[ShotDigest("t.dng", name)], **changes,
        )  # fmt: skip
        folder = tmp_path / name
        folder.mkdir()
        (folder / "report.json").write_bytes(encode_report(report))
        return folder

    return written


def run(capsys, *arguments):
    with pytest.raises(SystemExit) as ended:
        main(["compare", *map(str, arguments)])
    printed = capsys.readouterr()
    return ended.value.code, printed.out, printed.err


def test_a_sharper_build_is_called_better(build, tmp_path, capsys):
    early, late = build("early", 4), build("late", 4, sharper=1.3, seed=2)
    code, out, _ = run(capsys, early, late, "--out", tmp_path / "out")
    assert code == 0
    assert "early → late: Better" in out
    assert "sharpness, whole frame: better" in out
    assert "New: part of late" in out
    assert "Notes: notes of late" in out
    folder = tmp_path / "out" / "compared-late"
    names = {path.name for path in folder.iterdir()}
    expected = {"comparison.html", "comparison.png", "comparison.json"}
    assert names == expected | {"comparison_headlines.csv", "comparison_zones.csv"}
    assert {file.name for file in files_as_written(folder, "comparison.json")} == names
    read = msgspec.json.decode((folder / "comparison.json").read_bytes(), type=Comparison)
    assert read.changes[0].answer == "better"
    head = (folder / "comparison_headlines.csv").read_text().splitlines()[0].split(",")
    assert {"build_before", "aperture", "difference", "difference_low", "counts"} <= set(head)


def test_a_softer_build_ends_with_one(build, tmp_path, capsys):
    code, out, _ = run(capsys, build("early", 4), build("late", 4, sharper=0.7, seed=2), "--out", tmp_path / "out")
    assert code == 1
    assert "Worse" in out


def test_one_setup_each_can_not_be_told_apart_yet(build, tmp_path, capsys):
    code, out, _ = run(capsys, build("early", 1), build("late", 1, sharper=1.3, seed=2), "--out", tmp_path / "out")
    assert code == 0
    assert "Can't be told apart yet" in out
    assert "setup = 2" in out
    assert "What differs most at f/5.6" in out
    assert "better" not in out.replace("better both", "")


def test_builds_stand_in_order_of_date(build, tmp_path, capsys):
    late, early = build("late", 3, date="2026-03-01"), build("early", 3, date="2026-01-01", seed=2)
    middle = build("middle", 3, date="2026-02-01", seed=3)
    code, out, _ = run(capsys, late, early, middle, "--json", "--out", tmp_path / "out")
    assert code in (0, 1)
    assert [one["name"] for one in json.loads(out)["builds"]] == ["early", "middle", "late"]
    assert (tmp_path / "out" / "compared-late").is_dir()


def test_what_can_not_be_compared_says_why(build, tmp_path, capsys):
    early = build("early", 2)
    camera = msgspec.structs.replace(drawn_report(np.random.default_rng(1), 1).camera, size_px=(3000, 2000))
    late = build("late", 2, camera=camera)
    code, out, _ = run(capsys, early, late, "--out", tmp_path / "out")
    assert code == 2
    assert "Can't be compared" in out
    assert "The cameras differ: 6000 × 4000 pixels against 3000 × 2000" in out


def test_wrong_use_is_refused_in_a_sentence(build, tmp_path, capsys):
    early = build("early", 2)
    code, _, err = run(capsys, early)
    assert (code, err.count("\n")) == (2, 1)
    code, _, err = run(capsys, early, early / "report.json")
    assert code == 2
    assert "are of the same shots" in err
    code, _, err = run(capsys, early, tmp_path / "nowhere")
    assert code == 2
    assert "nowhere: can't be read" in err


def test_an_earlier_comparison_is_replaced_and_anything_else_kept(build, tmp_path, capsys):
    early, late, other = build("early", 2), build("late", 2, seed=2), build("other", 2, seed=3)
    out = tmp_path / "out"
    for _ in range(2):
        run(capsys, early, late, "--out", out, "--quiet")
    assert [path.name for path in out.iterdir()] == ["compared-late"]
    _, _, err = run(capsys, other, late, "--out", out)
    assert "holds a comparison of other builds, and is kept" in err
    (out / "compared-late" / "comparison.html").write_text("mine")
    _, _, err = run(capsys, early, late, "--out", out)
    assert (out / "compared-late" / "comparison.html").read_text() == "mine"
    assert "not as this program wrote it" in err
