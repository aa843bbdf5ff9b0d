"""Raw files as loaded: the written mosaic comes back as it was, whatever the sensor's pattern and levels.

LibRaw does the unpacking; tifffile and the DNG SDK (dngpy) are the outside references for what lies where.
"""

import dngpy
import numpy as np
import pytest
import tifffile

from lensbench.dng import CFA, write_dng
from lensbench.errors import BenchError
from lensbench.loaders.raw import load_raw, smallest_repeat, with_black_by_position
from lensbench.shot import Exposure
from tests.invented_shots import BAYER, EXPOSURE, KINDS, RGB, RGBG, SIX, falloff, mosaic_of, random_shot, shot_of


def colours_by_place(shot, rows=12, columns=12):
    """The colour names of the frame's top left."""
    down, across = shot.pattern.shape
    index = np.tile(shot.pattern, (rows // down, columns // across))
    return np.array(shot.colours)[index]


def black_by_place(shot, rows=12, columns=12):
    down, across = shot.pattern.shape
    return np.tile(shot.black[shot.pattern], (rows // down, columns // across))


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_written_comes_back(kind, tmp_path):
    written = random_shot(kind)
    write_dng(tmp_path / "a.dng", written)
    before = (tmp_path / "a.dng").read_bytes()
    shot = load_raw(tmp_path / "a.dng")
    assert shot.name == "a.dng"
    assert np.array_equal(shot.samples, written.samples)
    assert shot.samples.dtype == np.uint16
    assert shot.channels == written.channels
    assert np.all(shot.black == 512)
    assert shot.white == 15871
    assert shot.exposure == EXPOSURE
    assert shot.incomparable is None
    if kind == "planes":
        assert shot.pattern is None
    else:
        assert np.array_equal(colours_by_place(shot), colours_by_place(written))
        assert shot.pattern.shape == written.pattern.shape
    assert (tmp_path / "a.dng").read_bytes() == before


def test_facts_that_no_one_recorded_are_none(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB", exposure=Exposure()))
    assert load_raw(tmp_path / "a.dng").exposure == Exposure("Bench Simulator")


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_exif_s_number(orientation, tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB", exposure=Exposure(orientation=orientation)))
    assert load_raw(tmp_path / "a.dng").exposure.orientation == orientation


@pytest.mark.parametrize("kind", [*BAYER, "6x6", "grey", "planes"])
def test_black_by_colour_is_exact_with_its_fraction(kind, tmp_path):
    black = np.array([512.25, 500.5, 510, 505])[: len(KINDS[kind][1])]
    written = random_shot(kind, black=black)
    write_dng(tmp_path / "a.dng", written)
    shot = load_raw(tmp_path / "a.dng")
    if kind == "planes":
        assert np.array_equal(shot.black, black)
    else:
        assert np.array_equal(black_by_place(shot), black_by_place(written))


def test_black_that_differs_within_a_colour_splits_the_colour(tmp_path):
    """LibRaw gives only one black a colour; a 2 × 2 black on a 6 × 6 mosaic needs more."""
    places = np.array([[512.0, 520], [530, 540]])
    plain = random_shot("6x6")
    written = with_black_by_position(plain, plain.pattern, places)
    write_dng(tmp_path / "a.dng", written)
    shot = load_raw(tmp_path / "a.dng")
    assert np.array_equal(black_by_place(shot), np.tile(places, (6, 6)))
    assert np.array_equal(colours_by_place(shot), np.array(RGB)[np.tile(SIX, (2, 2))])
    assert shot.channels == RGB


def write_with_active_area(path, samples, area, black):
    """A DNG with margins, by tifffile alone: red lies at the visible frame's top left."""
    write_dng(path, shot_of(samples, BAYER["RGGB"], RGBG, black=[600, 601, 602, 603]))
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tags = tiff.pages.first.tags
        tags["ActiveArea"].overwrite(area)
        tags["DefaultCropSize"].overwrite((area[3] - area[1], area[2] - area[0]))
        tags["BlackLevel"].overwrite([v for b in black for v in (b, 1)])


@pytest.mark.parametrize(("top", "left"), [(0, 0), (4, 6), (3, 6), (4, 5), (3, 5)])
def test_margins_keep_colours_and_black_in_phase(top, left, tmp_path):
    """The DNG specification counts mosaic and black from the active area's corner, odd or even."""
    samples = np.random.default_rng(1).integers(1000, 15000, (90, 100), dtype=np.uint16)
    path = tmp_path / "a.dng"
    write_with_active_area(path, samples, (top, left, 88, 98), [601, 602, 603, 604])
    assert dngpy.Dng(str(path)).get_bayer_pattern() == "RGGB"
    shot = load_raw(path)
    # LibRaw may leave out a line to keep the mosaic's phase; what it gives must still be put in its right place.
    found = [
        (y, x)
        for y in (top, top + 1)
        for x in (left, left + 1)
        if np.array_equal(samples[y : y + shot.size[1], x : x + shot.size[0]], shot.samples)
    ]
    assert len(found) == 1
    y, x = found[0][0] - top, found[0][1] - left
    red = np.roll([["red", "green"], ["green", "blue"]], (-y, -x), (0, 1))
    assert np.array_equal(colours_by_place(shot), np.tile(red, (6, 6)))
    black = np.roll([[601, 602], [603, 604]], (-y, -x), (0, 1))
    assert np.array_equal(black_by_place(shot), np.tile(black, (6, 6)))


def test_clipping_below_the_stated_white_is_found(tmp_path):
    light = falloff(600, 400, stops=0.3)
    light[100:250, 150:400] = 2.0
    samples = mosaic_of(light, full_scale=15000)
    write_dng(tmp_path / "a.dng", shot_of(samples, BAYER["RGGB"], RGBG, white=16383))
    shot = load_raw(tmp_path / "a.dng")
    assert 15480 <= shot.white <= 15512
    clipped = shot.samples >= shot.white
    assert clipped[100:250, 150:400].all()
    assert clipped.sum() == 150 * 250


def test_the_second_green_is_brought_to_the_first(tmp_path):
    samples = mosaic_of(falloff(900, 600), BAYER["GRBG"], tint=(0.5, 1, 0.7, 1.021))
    write_dng(tmp_path / "a.dng", shot_of(samples, BAYER["GRBG"], RGBG))
    shot = load_raw(tmp_path / "a.dng")
    assert shot.colours == RGBG
    assert np.all(shot.gain[:3] == 1)
    # 600 × 900 / 4 samples of 30,000 electrons at half of full scale: the ratio is known to 0.01 %.
    assert shot.gain[3] == pytest.approx(1 / 1.021, abs=5e-4)


def test_levels_of_floating_point_are_libraw_s_own(tmp_path):
    """LibRaw turns floating point into whole numbers of a scale of its own, and with it the levels must go."""
    light = falloff(120, 80).astype(np.float32)
    path = tmp_path / "a.dng"
    tags = [(50706, "B", 4, (1, 4, 0, 0)), (50708, "s", 0, "Nightjar One"), (50710, "B", 3, (0, 1, 2))]
    tags += [(33421, "H", 2, (2, 2)), (33422, "B", 4, bytes([0, 1, 1, 2])), (50717, "I", 1, 1)]
    tifffile.imwrite(path, light, photometric="minisblack", metadata=None, extratags=[(*t, True) for t in tags])
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        tiff.pages.first.tags[262].overwrite(CFA)
    shot = load_raw(path)
    share = (shot.samples - shot.black[0]) / (shot.white - shot.black[0])
    assert np.allclose(share, light / light.max() * share.max(), atol=2e-4)


def test_a_cut_file_says_how_much_is_missing(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB"))
    whole = (tmp_path / "a.dng").read_bytes()
    (tmp_path / "cut.dng").write_bytes(whole[:-1234])
    with pytest.raises(BenchError, match=r"cut\.dng: is cut short by 1,234 bytes"):
        load_raw(tmp_path / "cut.dng")


def test_a_frame_wider_than_its_samples_is_damaged(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB"))
    with tifffile.TiffFile(tmp_path / "a.dng", mode="r+b") as tiff:
        tiff.pages.first.tags["ImageWidth"].overwrite(86)
    with pytest.raises(BenchError, match="cut short by 240 bytes"):
        load_raw(tmp_path / "a.dng")


def test_black_above_white_is_refused(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("RGGB", black=16000))
    with pytest.raises(BenchError, match=r"white \(15871\) lies at or under black \(16000\)"):
        load_raw(tmp_path / "a.dng")


def test_a_grey_picture_is_not_taken_for_a_mosaic(tmp_path):
    """LibRaw would unpack it as Bayer."""
    tifffile.imwrite(tmp_path / "a.nef", np.full((400, 600), 9000, dtype=np.uint16))
    with pytest.raises(BenchError, match="ordinary grey picture, not raw"):
        load_raw(tmp_path / "a.nef")


def test_smallest_repeat():
    assert smallest_repeat(np.tile(SIX, (8, 8))).tolist() == SIX
    assert smallest_repeat(np.zeros((48, 48), int)).tolist() == [[0]]
    assert smallest_repeat(np.tile([[0, 1]], (48, 24))).tolist() == [[0, 1]]
