"""TIFF pictures of every layout; tifffile writes them."""

import imagecodecs
import numpy as np
import pytest
import tifffile

from lensbench.errors import BenchError
from lensbench.loaders.encoding import decode_srgb
from lensbench.loaders.tiff import load_tiff
from tests.loaders.test_encoding import rgb_profile

RANDOM = np.random.default_rng(5)
GREY = RANDOM.integers(0, 250, (70, 90))
COLOUR = RANDOM.integers(0, 250, (70, 90, 3))
TYPES = {"uint8": 1, "uint16": 257, "uint32": 257, "float16": 1 / 256, "float32": 1 / 256, "float64": 1 / 256}


@pytest.fixture
def path(tmp_path):
    return tmp_path / "a.tif"


@pytest.mark.parametrize("dtype", TYPES)
@pytest.mark.parametrize("picture", [GREY, COLOUR], ids=["grey", "colour"])
def test_linear_numbers_stay_as_stored(picture, dtype, path):
    stored = (picture * TYPES[dtype]).astype(dtype)
    tifffile.imwrite(path, stored, photometric="rgb" if picture.ndim == 3 else "minisblack")
    shot = load_tiff(path, "linear")
    assert np.array_equal(shot.samples, stored.astype(shot.samples.dtype))
    assert shot.samples.dtype == (np.float32 if dtype.startswith("float") else stored.dtype)
    assert shot.white == (1 if dtype.startswith("float") else np.iinfo(dtype).max)
    assert np.all(shot.black == 0)
    assert np.all(shot.gain == 1)
    assert shot.colours == (("red", "green", "blue") if picture.ndim == 3 else ("grey",))
    assert (shot.pattern is None) == (picture.ndim == 3)
    assert shot.incomparable is None


@pytest.mark.parametrize(
    "layout",
    [
        {"tile": (16, 32)},
        {"tile": (32, 32), "compression": "zlib", "predictor": True},
        {"rowsperstrip": 7},
        {"compression": "lzw"},
        {"compression": "zstd"},
        {"bigtiff": True},
        {"byteorder": ">"},
    ],
    ids=str,
)
@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_layouts(layout, planar, path):
    stored = (COLOUR * 257).astype(np.uint16)
    given = np.moveaxis(stored, -1, 0) if planar == "separate" else stored
    tifffile.imwrite(path, given, photometric="rgb", planarconfig=planar, **layout)
    assert np.array_equal(load_tiff(path, "linear").samples, stored)


@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_alpha_is_left_out(planar, path):
    stored = np.dstack([COLOUR, GREY]).astype(np.uint8)
    given = np.moveaxis(stored, -1, 0) if planar == "separate" else stored
    tifffile.imwrite(path, given, photometric="rgb", planarconfig=planar, extrasamples=["unassalpha"])
    assert np.array_equal(load_tiff(path, "linear").samples, COLOUR)


def test_grey_with_alpha(path):
    stored = np.dstack([GREY, GREY]).astype(np.uint8)
    tifffile.imwrite(path, stored, photometric="minisblack", planarconfig="contig", extrasamples=["unassalpha"])
    assert np.array_equal(load_tiff(path, "linear").samples, GREY)


def test_white_is_zero_is_turned_over(path):
    tifffile.imwrite(path, GREY.astype(np.uint8), photometric="miniswhite")
    assert np.array_equal(load_tiff(path, "linear").samples, 255 - GREY)


def test_the_full_picture_is_taken_not_its_thumbnail(path):
    with tifffile.TiffWriter(path) as tiff:
        tiff.write(COLOUR[::2, ::2].astype(np.uint8), photometric="rgb", subfiletype=1)
        tiff.write(COLOUR.astype(np.uint8), photometric="rgb")
    assert load_tiff(path, "linear").size == (90, 70)


@pytest.mark.parametrize("told", [True, False])
def test_srgb_is_decoded_and_said_to_be_developed(told, path):
    stored = (COLOUR * 257).astype(np.uint16)
    tifffile.imwrite(path, stored, photometric="rgb", iccprofile=None if told else imagecodecs.cms_profile("srgb"))
    shot = load_tiff(path, "srgb" if told else None)
    assert np.array_equal(shot.samples, decode_srgb(stored))
    assert shot.white == 1
    assert "developed" in shot.incomparable


def test_a_linear_profile_is_enough(path):
    profile = rgb_profile(gamma=1.0)
    tifffile.imwrite(path, COLOUR.astype(np.uint8), photometric="rgb", iccprofile=profile)
    assert np.array_equal(load_tiff(path).samples, COLOUR)


def test_without_a_word_the_line_to_add_is_named(path):
    tifffile.imwrite(path, COLOUR.astype(np.uint8), photometric="rgb")
    with pytest.raises(BenchError, match=r'a\.tif: does not say how.*encoding = "linear".*session\.toml'):
        load_tiff(path)


def test_clipping_a_little_below_the_largest_number(path):
    """14 bits moved up by two: full is 65532."""
    light = np.minimum(RANDOM.normal(14000, 1500, (300, 400)), 16383).astype(np.uint16) * 4
    tifffile.imwrite(path, light)
    shot = load_tiff(path, "linear")
    assert 65400 <= shot.white <= 65532


def test_floating_point_on_another_scale(path):
    light = RANDOM.uniform(0, 900, (100, 100)).astype(np.float32)
    tifffile.imwrite(path, light)
    assert not np.any(light >= load_tiff(path, "linear").white)
    light[:20] = 1000
    tifffile.imwrite(path, light)
    assert load_tiff(path, "linear").white == 1000


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("encoding", ["linear", "srgb"])
def test_numbers_that_are_none_are_refused_with_their_place(bad, encoding, path):
    light = (COLOUR / 256).astype(np.float32)
    light[12, 34, 1] = light[50, 2, 0] = bad
    tifffile.imwrite(path, light, photometric="rgb")
    with pytest.raises(BenchError, match=r"2 of its 18,900 numbers .*NaN or infinite.*x = 34, y = 12"):
        load_tiff(path, encoding)


def test_exposure_facts(path):
    tags = [(271, "s", 0, "Nightjar", True), (272, "s", 0, "Nightjar One", True), (33434, "2I", 1, (1, 50), True)]
    tifffile.imwrite(path, COLOUR.astype(np.uint8), photometric="rgb", extratags=tags)
    exposure = load_tiff(path, "linear").exposure
    assert (exposure.camera, exposure.shutter_s, exposure.f_number) == ("Nightjar One", 1 / 50, None)


@pytest.mark.parametrize(
    ("samples", "options", "said"),
    [
        (GREY > 100, {}, "1 bits"),
        (GREY.astype(np.int16), {}, "SampleFormat 2"),
        ((COLOUR / 256).astype(np.complex64), {"photometric": "rgb"}, "SampleFormat 6"),
        (COLOUR[:, :, [0, 1, 2, 0]].astype(np.uint8), {"photometric": "separated"}, "SEPARATED"),
        (COLOUR.astype(np.uint8), {"photometric": "cielab"}, "CIELAB"),
        (GREY.astype(np.uint8), {"photometric": "palette", "colormap": np.zeros((3, 256), np.uint16)}, "PALETTE"),
        (GREY[:10, :10].astype(np.uint8), {}, "only 10 × 10 pixels"),
    ],
    ids=["one bit", "signed", "complex", "four inks", "lab", "palette", "ten by ten"],
)
def test_other_kinds_are_refused(samples, options, said, path):
    tifffile.imwrite(path, samples, **options)
    with pytest.raises(BenchError, match=rf"a\.tif: .*{said}"):
        load_tiff(path, "linear")


def test_grey_that_calls_itself_rgb_is_damaged(path):
    tifffile.imwrite(path, GREY.astype(np.uint8))
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tiff.pages.first.tags["PhotometricInterpretation"].overwrite(2)
    with pytest.raises(BenchError, match=r"a\.tif: says that it is RGB, but has too few planes"):
        load_tiff(path, "linear")


def test_a_cut_file_says_how_much_is_missing(path):
    tifffile.imwrite(path, GREY.astype(np.uint16))
    path.write_bytes(path.read_bytes()[:-500])
    with pytest.raises(BenchError, match=r"a\.tif: is cut short by 500 bytes"):
        load_tiff(path, "linear")


def test_missing_strips_are_not_filled_with_nought(path):
    tifffile.imwrite(path, GREY.astype(np.uint16), compression="zlib", rowsperstrip=10)
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tiff.pages.first.tags["ImageLength"].overwrite(170)
    with pytest.raises(BenchError, match=r"a\.tif: holds only 7 of its 17 strips"):
        load_tiff(path, "linear")
    tifffile.imwrite(path, GREY.astype(np.uint16))
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tiff.pages.first.tags["ImageLength"].overwrite(71)
    with pytest.raises(BenchError, match=r"a\.tif: is cut short by 180 bytes"):
        load_tiff(path, "linear")


def test_an_endless_chain_of_pages_is_not_followed(path):
    """A page whose next page is itself."""
    tifffile.imwrite(path, GREY.astype(np.uint8))
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        first = tiff.pages.first.offset
        tags = len(tiff.pages.first.tags)
        tiff.filehandle.seek(first + 2 + 12 * tags)
        tiff.filehandle.write(np.array(first, dtype="<u4").tobytes())
    assert np.array_equal(load_tiff(path, "linear").samples, GREY)


def test_a_damaged_strip_is_refused(path):
    tifffile.imwrite(path, GREY.astype(np.uint16), compression="zlib")
    with tifffile.TiffFile(path) as tiff:
        start = tiff.pages.first.dataoffsets[0]
    data = bytearray(path.read_bytes())
    data[start + 20 : start + 60] = bytes(40)
    path.write_bytes(data)
    with pytest.raises(BenchError, match=r"a\.tif: is damaged"):
        load_tiff(path, "linear")
