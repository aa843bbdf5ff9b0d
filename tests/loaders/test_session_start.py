"""Session files made and brought up to date from the files of a folder."""

import numpy as np
import pytest
import tifffile
from PIL import Image

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.loaders import load_session, start_session
from lensbench.shot import Exposure
from tests.invented_shots import BAYER, RGBG, drawn_target, falloff, mosaic_of, random_shot, shot_of

MANUAL = Exposure("Nightjar One", 1 / 60, 100)


@pytest.fixture
def folder(tmp_path):
    """A target, a flat and a dark frame by a lens that records no f-number."""
    light = {"t_056": drawn_target(600, 400), "f_056": falloff(600, 400), "d": np.zeros((400, 600))}
    for name, scene in light.items():
        write_dng(tmp_path / f"{name}.dng", shot_of(mosaic_of(scene), BAYER["RGGB"], RGBG, exposure=MANUAL))
    (tmp_path / "target.json").write_text("{}")
    (tmp_path / "notes.txt").write_text("remember the tape")
    return tmp_path


def test_a_new_session_file_says_what_the_shots_show_and_loads(folder):
    steps = []
    started = start_session(folder, lambda *step: steps.append(step))
    assert started.new
    shows = {shot.file: shot.shows for shot in started.added}
    assert shows == {"t_056.dng": "target", "f_056.dng": "flat", "d.dng": "dark"}
    assert (started.known, started.missing, started.unreadable) == (0, [], [])
    assert [step[:2] for step in steps] == [(1, 3), (2, 3), (3, 3)]
    session = load_session(folder)
    assert session.build.name == folder.name
    assert {shot.file: shot.shows for shot in session.shots} == shows
    text = (folder / "session.toml").read_text()
    assert text.count('# f_number = 5.6    # or aperture = "third click"') == 2


def test_recorded_f_numbers_are_taken_over(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB", exposure=Exposure(f_number=5.6)))
    start_session(tmp_path)
    assert "\nf_number = 5.6\n" in (tmp_path / "session.toml").read_text()


def test_what_could_not_be_guessed_is_asked_for(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB"))
    assert start_session(tmp_path).added[0].shows is None
    with pytest.raises(BenchError, match=r'line \d+: shows is still empty. It can be "target"'):
        load_session(tmp_path)


def test_a_tiff_without_encoding_is_listed_and_asked_about(tmp_path):
    samples = np.random.default_rng(1).integers(0, 255, (50, 60, 3), dtype=np.uint8)
    tifffile.imwrite(tmp_path / "a.tif", samples, photometric="rgb")
    start_session(tmp_path)
    with pytest.raises(BenchError, match=r'encoding is still empty. It can be "linear" or "srgb"'):
        load_session(tmp_path)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_an_update_keeps_every_word_that_stands(ends, folder):
    old = '# mine\n[build]\nname = "Röhre"   # the long one\n\n[[shot]]   # best\nfile="t_056.dng"\n'
    old += 'shows =   "blade"  # !\n'
    (folder / "session.toml").write_bytes(old.replace("\n", ends).encode())
    started = start_session(folder)
    assert not started.new
    assert [shot.file for shot in started.added] == ["d.dng", "f_056.dng"]
    assert (started.known, started.mistakes) == (1, [])
    text = (folder / "session.toml").read_bytes().decode()
    assert text.replace("\r\n", "\n").startswith(old)
    assert ("\r" in text) == (ends == "\r\n")
    assert text.count("\r\n") in (0, text.count("\n"))
    assert [shot.shows for shot in load_session(folder).shots] == ["blade", "dark", "flat"]


def test_what_is_wrong_in_the_file_is_told_with_its_line(folder):
    start_session(folder)
    path = folder / "session.toml"
    text = path.read_text().replace('# f_number = 5.6    # or aperture = "third click"', "f_number = 0", 1)
    path.write_text(text)
    line = text[: text.index("f_number = 0")].count("\n") + 1
    wanted = "It must be the f-number marked on the lens, such as 5.6."
    assert start_session(folder).mistakes == [f"{path}, line {line}: f_number = 0 is not allowed. {wanted}"]
    # What is wrong does not keep new shots from being listed.
    (folder / "d.dng").rename(folder / "e.dng")
    again = start_session(folder)
    assert [shot.file for shot in again.added] == ["e.dng"]
    assert any("there is no file d.dng" in said for said in again.mistakes)
    assert len(again.mistakes) == 2


def test_a_second_run_changes_nothing(folder):
    start_session(folder)
    before = (folder / "session.toml").read_bytes()
    again = start_session(folder)
    assert (again.new, again.added, again.known) == (False, [], 3)
    assert (folder / "session.toml").read_bytes() == before


def test_shots_that_are_gone_are_told(folder):
    start_session(folder)
    (folder / "d.dng").unlink()
    assert start_session(folder).missing == ["d.dng"]


def test_bad_files_are_told_and_left_out(folder):
    (folder / "x.dng").mkdir()
    (folder / "cut.dng").write_bytes((folder / "d.dng").read_bytes()[:9000])
    (folder / "note.tif").write_text("not a picture")
    (folder / "._t_056.dng").write_bytes(b"\0\5\x16\7")
    started = start_session(folder)
    assert len(started.added) == 3
    assert [text.partition(":")[0] for text in started.unreadable] == ["cut.dng", "note.tif"]


def test_a_jpeg_beside_its_raw_file_is_not_another_shot(folder):
    picture = Image.fromarray(np.full((60, 80, 3), 90, dtype=np.uint8))
    picture.save(folder / "t_056.JPG", format="jpeg")
    picture.save(folder / "other.jpg")
    assert [shot.file for shot in start_session(folder).added] == ["d.dng", "f_056.dng", "other.jpg", "t_056.dng"]


@pytest.mark.parametrize("name", ['a "b".dng', "a'b.dng", "a\\b.dng", "ä €.dng", "#1.dng", "[[x]].dng"])
def test_strange_names_come_through(name, folder):
    (folder / "t_056.dng").rename(folder / name)
    start_session(folder)
    assert name in [shot.file for shot in load_session(folder).shots]


def test_folders_without_shots(tmp_path):
    with pytest.raises(BenchError, match=r"is empty\. Copy the shots into it"):
        start_session(tmp_path)
    (tmp_path / "notes.txt").write_text("x")
    with pytest.raises(BenchError, match="holds no raw file, TIFF, JPEG or PNG"):
        start_session(tmp_path)
    (tmp_path / "a.dng").write_text("x")
    with pytest.raises(BenchError, match=r"none of its files can be used as a shot.\na\.dng: is a text file"):
        start_session(tmp_path)
    assert not (tmp_path / "session.toml").exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[build", r"session\.toml, line 1: .*can't be understood"),
        ('[shot]\nfile = "a"', r"session\.toml: every shot begins with \[\[shot\]\]"),
        ('shot = [{file = "t_056.dng", shows = "target"}]', r"session\.toml: lists its shots in a way"),
    ],
)
def test_a_session_file_that_cannot_be_added_to_stays_as_it_is(text, said, folder):
    (folder / "session.toml").write_text(text)
    with pytest.raises(BenchError, match=said):
        start_session(folder)
    assert (folder / "session.toml").read_text() == text
