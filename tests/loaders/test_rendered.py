"""JPEG and PNG, written by Pillow and libpng."""

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from lensbench.errors import BenchError
from lensbench.loaders.encoding import decode_srgb
from lensbench.loaders.rendered import load_rendered

COLOUR = np.random.default_rng(3).integers(0, 255, (50, 60, 3), dtype=np.uint8)
GREY = COLOUR[:, :, 0].copy()


@pytest.mark.parametrize(
    "stored",
    [COLOUR, GREY, COLOUR.astype(np.uint16) * 257, GREY.astype(np.uint16) * 257],
    ids=["rgb", "grey", "rgb 16", "grey 16"],
)
def test_png_is_decoded_in_all_its_bits(stored, tmp_path):
    (tmp_path / "a.png").write_bytes(imagecodecs.png_encode(stored))
    shot = load_rendered(tmp_path / "a.png")
    assert np.array_equal(shot.samples, decode_srgb(stored))
    assert shot.white == 1
    assert "tone curves" in shot.incomparable
    linear = load_rendered(tmp_path / "a.png", "linear")
    assert np.array_equal(linear.samples, stored)
    assert "tone curves" in linear.incomparable


@pytest.mark.parametrize("planes", [2, 4])
def test_alpha_is_left_out(planes, tmp_path):
    stored = np.dstack([COLOUR, COLOUR])[:, :, :planes].copy()
    (tmp_path / "a.png").write_bytes(imagecodecs.png_encode(stored))
    wanted = stored[:, :, 0] if planes == 2 else stored[:, :, :3]
    assert np.array_equal(load_rendered(tmp_path / "a.png", "linear").samples, wanted)


def test_jpeg_with_its_exposure_facts(tmp_path):
    exif = Image.Exif()
    exif[271], exif[272], exif[274] = "Nightjar", "One", 8
    exif[0x8769] = {33434: 1 / 30, 33437: 8.0, 34855: 200, 36867: "2024:05:06 21:10:11"}
    Image.fromarray(COLOUR).save(tmp_path / "a.jpg", exif=exif, quality=95)
    before = (tmp_path / "a.jpg").read_bytes()
    shot = load_rendered(tmp_path / "a.jpg")
    assert shot.samples.shape == (50, 60, 3)
    assert shot.exposure.camera == "Nightjar One"
    assert shot.exposure.shutter_s == pytest.approx(1 / 30)
    assert (shot.exposure.f_number, shot.exposure.iso, shot.exposure.orientation) == (8, 200, 8)
    assert shot.exposure.taken == "2024-05-06 21:10:11"
    assert "JPEG" in shot.incomparable
    assert np.array_equal(shot.samples, decode_srgb(imagecodecs.jpeg_decode(before)))


def test_kinds_without_plain_colours_are_refused(tmp_path):
    Image.fromarray(COLOUR).convert("CMYK").save(tmp_path / "a.jpg")
    Image.fromarray(COLOUR).convert("P").save(tmp_path / "a.png")
    with pytest.raises(BenchError, match=r"a\.jpg: is a JPEG of the kind CMYK"):
        load_rendered(tmp_path / "a.jpg")
    with pytest.raises(BenchError, match=r"a\.png: is a PNG of the kind P"):
        load_rendered(tmp_path / "a.png")


@pytest.mark.parametrize("name", ["a.jpg", "a.png"])
def test_a_cut_file_is_damaged(name, tmp_path):
    Image.fromarray(COLOUR).save(tmp_path / name)
    whole = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(whole[: len(whole) // 2])
    with pytest.raises(BenchError, match=rf"{name}: is a damaged"):
        load_rendered(tmp_path / name)
