"""`lensbench session` as somebody at the bench runs it."""

import json

import pytest

from lensbench.cli import main
from lensbench.dng import write_dng
from tests.invented_shots import BAYER, RGBG, falloff, mosaic_of, random_shot, shot_of


@pytest.fixture
def folder(tmp_path):
    write_dng(tmp_path / "f.dng", shot_of(mosaic_of(falloff(600, 400)), BAYER["RGGB"], RGBG))
    write_dng(tmp_path / "who.dng", random_shot("RGGB"))
    return tmp_path


def run(capsys, *arguments):
    """The exit code and what was printed."""
    with pytest.raises(SystemExit) as left:
        main([str(argument) for argument in arguments])
    return left.value.code or 0, *capsys.readouterr()


def test_the_table_says_what_was_guessed_and_what_is_to_be_filled_in(folder, capsys):
    (folder / "cut.dng").write_bytes((folder / "f.dng").read_bytes()[:-10])
    code, out, told = run(capsys, "session", folder)
    assert code == 0
    rows = {line.split()[0]: line for line in out.splitlines() if ".dng" in line}
    assert "flat" in rows["f.dng"]
    assert "f/5.6" in rows["f.dng"]
    assert "please fill in" in rows["who.dng"]
    assert "cut.dng: is cut short" in told
    assert f"lensbench measure {folder}" in out.replace("\n", "")
    code, out, told = run(capsys, "session", folder)
    assert (code, "lists every shot already" in out) == (0, True)
    assert "session.toml, line" in told
    assert "shows is still empty" in told
    assert "Now correct" in out


def test_json(folder, capsys):
    code, out, told = run(capsys, "session", folder, "--json")
    started = json.loads(out)
    assert (code, told) == (0, "")
    assert started["new"] is True
    assert {shot["file"]: shot["shows"] for shot in started["added"]} == {"f.dng": "flat", "who.dng": None}


def test_a_wrong_path_is_one_sentence_and_exit_code_2(tmp_path, capsys):
    code, out, told = run(capsys, "session", tmp_path / "evening")
    assert (code, out) == (2, "")
    assert told.strip() == f"{tmp_path / 'evening'}: there is no such folder."


def test_a_folder_with_blanks_is_quoted_where_it_is_to_be_typed(folder, capsys):
    blank = folder / "first evening"
    blank.mkdir()
    (folder / "f.dng").rename(blank / "f.dng")
    _, _, told = run(capsys, "measure", blank)
    assert f"lensbench session '{blank}'" in told
    _, out, _ = run(capsys, "session", blank)
    assert f"lensbench measure '{blank}'" in out.replace("\n", "")


def test_it_says_which_shots_are_to_be_taken_again_and_what_is_open(bench_folder, tmp_path, capsys):
    evening = tmp_path / "evening"
    evening.mkdir()
    for name in ("good.dng", "clipped.dng", "even.dng", "target.json"):
        (evening / name).write_bytes((bench_folder / name).read_bytes())
    code, out, _ = run(capsys, "session", evening)
    assert code == 0
    assert "To be taken again (1 of 3)" in out
    assert "clipped.dng  White is clipped" in out
    assert "Still open" in out
    assert max(len(line) for line in out.splitlines() if str(tmp_path) not in line) <= 80
    text = (evening / "session.toml").read_text()
    assert "# sensor_mm = [36.0, 24.0]" in text
    assert "(so they were drawn)" in text
    code, out, _ = run(capsys, "session", evening, "--json")
    judged = json.loads(out)
    assert [look["file"] for look in judged["looks"] if look["problems"]] == ["clipped.dng"]
    assert "rail" in {question["code"] for question in judged["open"]}
    _, out, _ = run(capsys, "session", evening, "--no-look")
    assert "Still open" not in out
