"""Copies of pictures: what they hold, what they carry on, and what is never written over."""

import hashlib
import os

import numpy as np
import pytest
import rawpy
import tifffile
from PIL import Image

from lensbench.correction import Taken, Wanted, correct_pictures
from lensbench.correction._directory import (
    ASCII,
    EXIF_DIRECTORY,
    GPS_DIRECTORY,
    RATIONAL,
    entry,
    read_directories,
    tiff_bytes,
)
from lensbench.correction._record import is_as_written, record_of
from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.figure import Figure
from lensbench.findings import (
    Build,
    Camera,
    Falloff,
    FalloffGrid,
    Fringing,
    FringingField,
    Report,
    Setting,
    encode_report,
)
from lensbench.loaders.raw import load_raw
from lensbench.shot import Exposure
from tests.correction.reference_reader import complaints, developed
from tests.findings.alter import alter
from tests.invented_shots import BAYER, KINDS, RGBG, random_shot, shot_of

SIZE = (640, 512)


def figure(value):
    return Figure.of(value, 0.01, "px")


def invented_report(size=SIZE, camera="Nightjar One"):
    """One stop of falloff in the corners, and red 1 px farther out there."""
    x, y = np.linspace(0, size[0] - 1, 49), np.linspace(0, size[1] - 1, 33)
    half = np.hypot(*size) / 2
    square = ((x[None, :] - (size[0] - 1) / 2) ** 2 + (y[:, None] - (size[1] - 1) / 2) ** 2) / half**2
    falloff = Falloff([], FalloffGrid(x.tolist(), y.tolist(), square.tolist()), None, True)
    field = FringingField(
        channel="red",
        centre_px=None,
        about_px=((size[0] - 1) / 2, (size[1] - 1) / 2),
        shift_px=(figure(0), figure(0)),
        radial_px=(figure(1), figure(0), figure(0)),
        decentring_px=(figure(0), figure(0)),
        residual_px=figure(0),
        tiles=100,
        rejected=0,
    )
    setting = Setting(f_number=8.0, falloff=falloff, fringing=Fringing(fields=[field]))
    return Report(Build("Marram 32"), Camera(size, model=camera), settings=[setting])


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "report.json").write_bytes(encode_report(invented_report()))
    (tmp_path / "pictures").mkdir()
    write_dng(tmp_path / "pictures" / "a.dng", random_shot("RGGB", width=SIZE[0], height=SIZE[1]))
    return tmp_path


def corrected(folder, *pictures, **options):
    wanted = Wanted(**{"out": folder / "copies", "taken": Taken(8.0), **options})
    paths = [folder / "pictures" / name for name in pictures or ("a.dng",)]
    return correct_pictures(folder / "report.json", paths, wanted, workers=1)


def content(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("kind", KINDS)
def test_a_dng_copy_holds_the_samples_and_levels_as_they_were(folder, kind):
    shot = random_shot(kind, width=SIZE[0], height=SIZE[1])
    original = folder / "pictures" / "a.dng"
    write_dng(original, shot)
    (result,) = corrected(folder)
    assert result.error is None
    (copy,) = result.written
    mine, theirs = load_raw(copy), load_raw(original)
    assert np.array_equal(mine.samples, shot.samples)
    assert np.array_equal(mine.black, theirs.black)
    assert mine.colours == theirs.colours
    assert mine.white == theirs.white
    assert mine.exposure == theirs.exposure
    assert np.array_equal(tifffile.imread(copy), shot.samples)
    assert set(complaints(copy)) <= set(complaints(original))


def test_a_mosaic_is_compressed_whatever_its_colours_differ_by(folder):
    size = (1536, 960)
    (folder / "report.json").write_bytes(encode_report(invented_report(size)))
    light = np.random.default_rng(1).poisson(900, (size[1], size[0])).astype(float)
    light[::2, ::2] *= 3
    write_dng(folder / "pictures" / "a.dng", shot_of(light.astype(np.uint16), BAYER["RGGB"], RGBG))
    (result,) = corrected(folder)
    # Noise of 30 and more has an entropy of 7 bits and more of the 16: log2(30 √(2πe)) = 6.95 (Shannon; memory).
    assert result.written[0].stat().st_size < 0.6 * (folder / "pictures" / "a.dng").stat().st_size


def test_the_mosaic_s_own_colours_and_every_raw_developer_s_facts_are_carried(folder):
    (result,) = corrected(folder)
    with tifffile.TiffFile(folder / "pictures" / "a.dng") as before, tifffile.TiffFile(result.written[0]) as after:
        old, new = before.pages.first.tags, after.pages.first.tags
        for code in (271, 272, 274, 50708, 50721, 50728, 50778, 33422, 50717):
            assert new[code].value == old[code].value, code
        assert new["ExifTag"].value["ExposureTime"] == (1, 60)
        assert new["ExifTag"].value["DateTimeOriginal"] == "2024:05:06 21:10:11"
    with rawpy.imread(str(result.written[0])) as raw:
        assert raw.sizes.flip == 6
        assert raw.other.aperture == pytest.approx(5.6)


def test_lens_and_place_are_carried_the_place_only_when_asked(folder):
    path = folder / "pictures" / "a.dng"
    place = {1: "N", 2: (51.0, 30.0, 12.0)}
    with_exif(path, {42036: "Marram 32", 42033: "serial 123"}, place)
    (plain,) = corrected(folder)
    (asked,) = corrected(folder, keep_gps=True, out=folder / "told")
    for result, told in ((plain, False), (asked, True)):
        with tifffile.TiffFile(result.written[0]) as tiff:
            tags = tiff.pages.first.tags
            assert tags["ExifTag"].value["LensModel"] == "Marram 32"
            assert "BodySerialNumber" not in tags["ExifTag"].value
            assert ("GPSTag" in tags) == told
            if told:
                assert tags["GPSTag"].value["GPSLatitude"] == (51, 1, 30, 1, 12, 1)


def with_exif(path, exif, gps):
    """Write a DNG anew with EXIF and GPS directories."""
    content = path.read_bytes()
    first, _, _ = read_directories(content)
    start, length = (int.from_bytes(first[code].packed, "little") for code in (273, 279))
    kept = [item for code, item in first.items() if code not in (273, 279)]
    below = {
        EXIF_DIRECTORY: [entry(code, ASCII, text) for code, text in exif.items()],
        GPS_DIRECTORY: [entry(1, ASCII, gps[1]), entry(2, RATIONAL, gps[2])],
    }
    path.write_bytes(tiff_bytes(kept, [content[start : start + length]], below))


def test_what_was_done_stands_in_the_copy(folder):
    results = corrected(folder, copies=("dng", "linear", "display"))
    assert [path.name for path in results[0].written] == ["a.dng", "a-linear.tif", "a.tif"]
    for path in results[0].written:
        record = record_of(path.read_bytes())
        assert record.report == "Marram 32"
        assert record.report_sha256 == content(folder / "report.json")
        assert record.f_number == 8.0
        assert "falloff and colour cast, measured at f/8" in record.done
        assert record.original == "a.dng"


# -- what is blown, hot pixels, profiles ----------------------------------------------------------------------


def test_what_is_blown_stays_white_and_grey_stays_grey(folder):
    # Neutral light is (0.5, 1, 0.8) in this camera; the middle third is blown in green alone, as skies are.
    samples = np.full((SIZE[1], SIZE[0]), 0.0)
    light = np.where(abs(np.arange(SIZE[0]) - 320) < 100, 1.5, 0.4)
    for row, column, sees in ((0, 0, 0.5), (0, 1, 1.0), (1, 0, 1.0), (1, 1, 0.8)):
        samples[row::2, column::2] = np.minimum(light[column::2] * sees, 1.0)
    shot = shot_of(np.round(512 + samples * (15871 - 512)).astype(np.uint16), BAYER["RGGB"], RGBG)
    path = folder / "pictures" / "a.dng"
    write_dng(path, shot)
    content_before = path.read_bytes()
    first, _, _ = read_directories(content_before)
    as_shot = content_before.replace(
        first[50728].packed, entry(50728, RATIONAL, (0.5, 1, 0.8)).packed.ljust(24)[:24]
    )
    assert as_shot != content_before
    path.write_bytes(as_shot)
    (result,) = corrected(folder, copies=("linear",))
    picture = tifffile.imread(result.written[0]).astype(float)
    assert picture[:, 240:400].min() == 65535
    grey = picture[200:300, 20:120]
    assert np.ptp(grey, axis=2).max() < 0.01 * 65535
    # Half of one stop of falloff at h² = 0.5 is given back.
    h2 = ((np.arange(20, 120) - 319.5) ** 2 + (250 - 255.5) ** 2) / (np.hypot(*SIZE) / 2) ** 2
    assert np.allclose(picture[250, 20:120].mean(axis=1) / 65535, 0.4 * 2**h2, rtol=0.01)


def test_a_dng_s_gains_are_one_or_more(folder):
    (result,) = corrected(folder)
    flat = shot_of(np.full((SIZE[1], SIZE[0]), 5000, np.uint16), BAYER["RGGB"], RGBG)
    write_dng(folder / "pictures" / "b.dng", flat)
    (result,) = corrected(folder, "b.dng")
    light = developed(result.written[0]).astype(float) / 65535
    assert light.min() >= (5000 - 512) / (15871 - 512) - 1e-4
    assert light[3, 3, 1] / light[256, 320, 1] == pytest.approx(2, rel=0.02)


def test_hot_pixels_of_a_dark_frame_go(folder):
    rng = np.random.default_rng(1)
    even = (6000 + rng.normal(0, 40, (SIZE[1], SIZE[0]))).astype(np.uint16)
    dark = (512 + rng.normal(0, 4, (SIZE[1], SIZE[0]))).astype(np.uint16)
    hot = [(100, 200), (101, 331), (300, 41), (401, 400)]
    for row, column in hot:
        even[row, column], dark[row, column] = 15000, 9000
    write_dng(folder / "pictures" / "a.dng", shot_of(even, BAYER["GBRG"], RGBG))
    write_dng(folder / "dark.dng", shot_of(dark, BAYER["GBRG"], RGBG))
    options = {"kinds": ("fringing",), "copies": ("dng", "linear")}
    (plain,) = corrected(folder, **options)
    (mended,) = corrected(folder, darks=(folder / "dark.dng",), out=folder / "mended", **options)
    for of in (lambda result: developed(result.written[0]), lambda result: tifffile.imread(result.written[1])):
        before, after = (of(result)[20:-20, 20:-20].astype(float) for result in (plain, mended))
        assert before.max() > 1.4 * np.median(before)
        assert after.max() < 1.1 * np.median(after)


def test_a_picture_is_no_dark_frame(folder):
    with pytest.raises(BenchError, match="no dark frame"):
        corrected(folder, darks=(folder / "pictures" / "a.dng",))


# -- which pictures, and how they were taken ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"width": SIZE[0] + 2}, "is 642 × 512 pixels"),
        ({"width": SIZE[1], "height": SIZE[0]}, "stored turned by a quarter"),
        ({"exposure": Exposure("Wader Two")}, "comes from Wader Two"),
    ],
)
def test_a_picture_of_another_camera_or_frame_is_refused(folder, change, says):
    size = {"width": SIZE[0], "height": SIZE[1]}
    write_dng(folder / "pictures" / "a.dng", random_shot("RGGB", **{**size, **change}))
    (result,) = corrected(folder)
    assert says in result.error
    assert not (folder / "copies").exists()


def test_a_corrected_copy_and_a_developed_picture_are_refused(folder):
    (result,) = corrected(folder)
    os.rename(result.written[0], folder / "pictures" / "again.dng")
    Image.new("RGB", SIZE).save(folder / "pictures" / "b.jpg")
    again, developed_one = corrected(folder, "again.dng", "b.jpg")
    assert "corrected copy already" in again.error
    assert "no raw file" in developed_one.error


def test_one_bad_picture_stops_no_other(folder):
    (folder / "pictures" / "b.dng").write_bytes(b"II*\0 nothing")
    bad, good = corrected(folder, "b.dng", "a.dng")
    assert "b.dng" in bad.error
    assert good.error is None
    assert [path.name for path in (folder / "copies").iterdir()] == ["a.dng"]


def test_a_listing_beside_the_pictures_says_how_they_were_taken(folder):
    listing = folder / "pictures" / "pictures.toml"
    listing.write_text('[[picture]]\nfile = "a.dng"\nf_number = 8.0\n')
    results = correct_pictures(folder / "report.json", [folder / "pictures"], Wanted(folder / "copies"), workers=1)
    assert [result.error for result in results] == [None]
    listing.write_text('f_number = 8.0\n[[picture]]\nfile = "a.dng"\nf_number = 22\n')
    (outside,) = corrected(folder, taken=Taken(), out=folder / "other")
    assert "f/22 lies outside" in outside.error
    listing.write_text('[[picture]]\nfile = "a.dng"\naperture_ = 8\n')
    with pytest.raises(BenchError, match="line 3"):
        corrected(folder)


def test_copies_of_one_name_are_refused(folder):
    (folder / "other").mkdir()
    (folder / "other" / "A.dng").write_bytes((folder / "pictures" / "a.dng").read_bytes())
    with pytest.raises(BenchError, match="2 of the pictures are called a"):
        corrected(folder, "a.dng", "../other/A.dng")


# -- what is never written over -------------------------------------------------------------------------------


def test_originals_are_never_touched(folder):
    before = content(folder / "pictures" / "a.dng")
    for replace_them in (False, True):
        (result,) = corrected(folder, out=folder / "pictures", replace=replace_them)
        assert "no corrected copy as lensbench wrote it" in result.error
    assert content(folder / "pictures" / "a.dng") == before
    assert len(list((folder / "pictures").iterdir())) == 1


def test_an_earlier_copy_is_replaced_only_when_told_and_only_unchanged(folder):
    (first,) = corrected(folder)
    (copy,) = first.written
    assert is_as_written(copy)
    (again,) = corrected(folder, taken=Taken(7.6))
    assert "is there already" in again.error
    before = content(copy)
    (told,) = corrected(folder, taken=Taken(7.6), replace=True)
    assert told.error is None
    assert content(copy) != before
    # Somebody rates the copy in another program, which changes a byte of it.
    changed = copy.read_bytes()[:-1] + b"\1"
    copy.write_bytes(changed)
    assert not is_as_written(copy)
    (kept,) = corrected(folder, replace=True)
    assert "It stays" in kept.error
    assert copy.read_bytes() == changed


def test_links_are_never_followed(folder):
    (folder / "copies").mkdir()
    (folder / "copies" / "a.dng").symlink_to(folder / "pictures" / "a.dng")
    (result,) = corrected(folder, replace=True)
    assert result.error is not None
    assert (folder / "copies" / "a.dng").is_symlink()


def test_a_report_of_nothing_corrects_nothing(folder):
    report = invented_report()
    alter(report, settings=[])
    (folder / "report.json").write_bytes(encode_report(report))
    (result,) = corrected(folder)
    assert "holds nothing" in result.error
