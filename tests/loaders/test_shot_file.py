"""Any file that somebody may name: by what it holds, each with its own sentence where it is no shot."""

import zipfile

import imagecodecs
import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.loaders import read_shot
from tests.invented_shots import BAYER, RGBG, random_shot, shot_of
from tests.loaders.refusals import loaded_or_sentence

COLOUR = np.random.default_rng(3).integers(0, 255, (50, 60, 3), dtype=np.uint8)


@pytest.mark.parametrize("name", ["a.dng", "a.nef", "a.tif", "a", "a.jpg"])
def test_a_raw_file_is_known_under_any_name(name, tmp_path):
    written = random_shot("GBRG")
    write_dng(tmp_path / "w.dng", written)
    (tmp_path / "w.dng").rename(tmp_path / name)
    shot = read_shot(tmp_path / name)
    assert np.array_equal(shot.samples, written.samples)
    assert shot.name == name


@pytest.mark.parametrize("name", ["a.tif", "a.dng", "a", "a.png"])
def test_a_tiff_picture_is_known_under_any_name(name, tmp_path):
    tifffile.imwrite(tmp_path / name, COLOUR, photometric="rgb")
    assert np.array_equal(read_shot(tmp_path / name, "linear").samples, COLOUR)


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.dng", "a"])
def test_png_and_jpeg_are_known_under_any_name(name, tmp_path):
    (tmp_path / name).write_bytes(imagecodecs.png_encode(COLOUR))
    assert np.array_equal(read_shot(tmp_path / name, "linear").samples, COLOUR)
    Image.fromarray(COLOUR).save(tmp_path / name, format="jpeg")
    assert read_shot(tmp_path / name).size == (60, 50)


def make_folder(path):
    path.mkdir()


def make_raw(samples):
    def make(path):
        write_dng(path, shot_of(samples, BAYER["RGGB"], RGBG))

    return make


def make_cut(keep):
    def make(path):
        write_dng(path, random_shot("RGGB", width=300, height=200))
        path.write_bytes(path.read_bytes()[:keep])

    return make


def make_zip(path):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("notes.txt", "f/5.6")


BAD = {
    "folder": ("x.dng", make_folder, "is a folder, not a picture"),
    "text": ("x.tif", lambda p: p.write_text("Exposure notes\nf/5.6 – schön\n" * 40), "is a text file"),
    "text cut in a character": ("x.tif", lambda p: p.write_text("a" * 511 + "é" * 40), "is a text file"),
    "empty": ("x.dng", lambda p: p.touch(), r"is empty \(0 bytes\)"),
    "missing": ("x.dng", lambda p: None, "there is no such file"),
    "ten by ten": ("x.dng", make_raw(np.full((10, 10), 900, np.uint16)), "only 10 × 10 pixels"),
    "ten by ten jpeg": ("x.jpg", lambda p: Image.fromarray(COLOUR[:10, :10]).save(p), "only 10 × 10 pixels"),
    "cut in its samples": ("x.dng", make_cut(50_000), "is cut short by 70,"),
    "cut in its directory": ("x.dng", make_cut(300), "is damaged or cut short|holds no raw"),
    "cut after its first bytes": ("x.dng", make_cut(8), "is damaged or cut short|holds no raw"),
    "noise": ("x.cr2", lambda p: p.write_bytes(np.random.default_rng(1).bytes(5000)), "holds no raw|is damaged"),
    "zeros": ("x.raf", lambda p: p.write_bytes(bytes(5000)), "holds no raw|is damaged"),
    "pdf": ("x.tif", lambda p: p.write_bytes(b"%PDF-1.7\n\xff\xfe"), "is a PDF"),
    "zip": ("x.dng", make_zip, "is a ZIP"),
    "gif": ("x.png", lambda p: Image.fromarray(COLOUR).save(p, format="gif"), "is a GIF"),
    "tiff without a picture": ("x.tif", lambda p: p.write_bytes(b"II*\0" + bytes(60)), "is damaged or no TIFF"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_each_bad_file_has_its_own_sentence(case, tmp_path, capfd):
    name, make, said = BAD[case]
    make(tmp_path / name)
    with pytest.raises(BenchError, match=rf"{name}: .*({said})") as caught:
        read_shot(tmp_path / name)
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith((".", "?"))


def test_a_missing_file_names_the_nearest(tmp_path):
    (tmp_path / "T_056.dng").touch()
    with pytest.raises(BenchError, match=r"no such file; did you mean T_056\.dng\?"):
        read_shot(tmp_path / "t_56.dng")
    with pytest.raises(BenchError, match=r"no such file, nor a folder"):
        read_shot(tmp_path / "evening" / "t_56.dng")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    """The tests may run as a user who may read anything, so the system's refusal is put in."""
    path = tmp_path / "a.dng"
    write_dng(path, random_shot("RGGB"))

    def refuse(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    with pytest.raises(BenchError, match=r"a\.dng: can't be read \(Permission denied\)"):
        read_shot(path)


@pytest.mark.parametrize("stored", [0, 16383, 65535])
def test_black_and_white_frames_load(stored, tmp_path):
    """What can be measured in them is the analysers' to say."""
    write_dng(tmp_path / "a.dng", shot_of(np.full((80, 90), stored, np.uint16), BAYER["RGGB"], RGBG, white=16383))
    shot = read_shot(tmp_path / "a.dng")
    assert np.all(shot.samples == stored)
    assert np.all((shot.samples >= shot.white) == (stored > 0))
    assert np.all(shot.gain == 1)


def test_a_strange_mosaic_keeps_its_pattern(tmp_path):
    pattern = np.random.default_rng(4).integers(0, 3, (6, 6))
    samples = np.random.default_rng(4).integers(600, 9000, (90, 120), dtype=np.uint16)
    write_dng(tmp_path / "a.dng", shot_of(samples, pattern, RGBG[:3]))
    shot = read_shot(tmp_path / "a.dng")
    assert np.array_equal(shot.samples, samples)
    assert np.array_equal(np.array(shot.colours)[shot.pattern], np.array(RGBG)[pattern])


def _whole_files(folder):
    """A whole file of every kind, as bytes."""
    for kind in ("RGGB", "6x6", "grey", "planes"):
        write_dng(folder / f"{kind}.dng", random_shot(kind))
    tifffile.imwrite(folder / "rgb.tif", COLOUR, photometric="rgb", iccprofile=imagecodecs.cms_profile("srgb"))
    light = (COLOUR / 256).astype(np.float32)
    tifffile.imwrite(folder / "float.tif", light, photometric="rgb", tile=(16, 16), compression="zlib")
    Image.fromarray(COLOUR).save(folder / "a.jpg")
    Image.fromarray(COLOUR).save(folder / "a.png")
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def whole_files(tmp_path_factory):
    return _whole_files(tmp_path_factory.mktemp("whole"))


NAMES = ("RGGB.dng", "6x6.dng", "grey.dng", "planes.dng", "rgb.tif", "float.tif", "a.jpg", "a.png")


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(NAMES),
    flips=st.lists(st.tuples(st.floats(0, 1), st.booleans(), st.integers(0, 255)), max_size=6),
    keep=st.one_of(st.none(), st.floats(0, 1)),
    encoding=st.sampled_from([None, "linear", "srgb"]),
)
def test_damaged_files_give_a_sentence_or_a_sound_shot(name, flips, keep, encoding, whole_files, tmp_path):
    data = bytearray(whole_files[name])
    for place, in_head, value in flips:
        data[int(place * (min(1200, len(data)) - 1 if in_head else len(data) - 1))] = value
    if keep is not None:
        data = data[: int(keep * len(data))]
    (tmp_path / name).write_bytes(data)
    shot = loaded_or_sentence(read_shot, tmp_path / name, encoding)
    if isinstance(shot, str):
        assert shot.startswith(name)
        return
    assert shot.samples.ndim == (2 if shot.pattern is not None else 3)
    assert len(shot.colours) == len(shot.black) == len(shot.gain)
    assert np.isfinite(shot.samples).all()
    assert np.isfinite([*shot.black, *shot.gain, shot.white]).all()
    assert shot.white > shot.black.max()
    assert min(shot.size) >= 32
