"""TIFF directories as other libraries read and write them: Pillow and tifffile are the outside references."""

import io

import numpy as np
import pytest
import tifffile
from PIL import Image

from lensbench.correction._directory import (
    ASCII,
    EXIF_DIRECTORY,
    GPS_DIRECTORY,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    entry,
    read_directories,
    tiff_bytes,
    values_of,
)


def small_tiff(samples):
    height, width = samples.shape
    first = [
        *(entry(code, LONG, value) for code, value in ((256, width), (257, height), (278, 7))),
        *(entry(code, SHORT, value) for code, value in ((258, 16), (259, 1), (262, 1), (277, 1))),
        entry(271, ASCII, "Nightjar"),
    ]
    strips = [samples[top : top + 7].tobytes() for top in range(0, height, 7)]
    exif = [entry(33434, RATIONAL, 1 / 60), entry(37380, SRATIONAL, -1 / 3), entry(42036, ASCII, "Marram 32")]
    gps = [entry(1, ASCII, "N"), entry(2, RATIONAL, (51, 30, 12.5))]
    return tiff_bytes(first, strips, {EXIF_DIRECTORY: exif, GPS_DIRECTORY: gps})


def test_others_read_the_picture_and_all_directories():
    samples = np.random.default_rng(1).integers(0, 65535, (33, 45)).astype("<u2")
    content = small_tiff(samples)
    assert np.array_equal(tifffile.imread(io.BytesIO(content)), samples)
    with Image.open(io.BytesIO(content)) as picture:
        exif = picture.getexif()
        assert exif[271] == "Nightjar"
        assert float(exif.get_ifd(EXIF_DIRECTORY)[33434]) == pytest.approx(1 / 60)
        assert float(exif.get_ifd(EXIF_DIRECTORY)[37380]) == pytest.approx(-1 / 3, abs=1e-6)
        assert exif.get_ifd(EXIF_DIRECTORY)[42036] == "Marram 32"
        assert [float(v) for v in exif.get_ifd(GPS_DIRECTORY)[2]] == [51, 30, 12.5]


@pytest.mark.parametrize("byteorder", ["<", ">"])
def test_directories_of_others_are_read_in_both_orders(byteorder):
    stream = io.BytesIO()
    tags = [
        (33434, "2I", 1, (1, 60), True),
        (50721, "2i", 2, (-5, 10, 7, 2), True),
        (33432, "s", 0, "nobody", True),
    ]
    tifffile.imwrite(stream, np.zeros((8, 8), np.uint16), byteorder=byteorder, extratags=tags, metadata=None)
    first, exif, gps = read_directories(stream.getvalue())
    assert values_of(first[256]) == (8,)
    assert values_of(first[33434]) == pytest.approx((1 / 60,))
    assert values_of(first[50721]) == (-0.5, 3.5)
    assert first[33432].packed == b"nobody\0"
    assert exif == gps == {}


@pytest.mark.parametrize(
    "content", [b"", b"II*\0", b"\x89PNG\r\n\x1a\n", b"II*\0\xff\xff\xff\xff", b"MM\0*\0\0\0\x08\0"]
)
def test_what_is_no_tiff_is_said_to_be_none(content):
    with pytest.raises(ValueError, match=r"TIFF|damaged"):
        read_directories(content)
