"""DNG files as others read them: LibRaw (rawpy), tifffile and the DNG SDK (dngpy) are the outside references."""

from dataclasses import replace

import dngpy
import numpy as np
import pytest
import rawpy
import tifffile

from lensbench.dng import CFA, LINEAR_RAW, write_dng
from lensbench.errors import BenchError
from lensbench.shot import Exposure
from tests.invented_shots import BAYER, KINDS, RGBG, SIX, random_shot, shot_of


@pytest.fixture(params=KINDS)
def kind(request):
    return request.param


def test_libraw_and_tifffile_read_the_samples_as_they_are(kind, tmp_path):
    shot = random_shot(kind)
    path = tmp_path / "a.dng"
    write_dng(path, shot)
    assert np.array_equal(tifffile.imread(path), shot.samples)
    with rawpy.imread(str(path)) as raw:
        seen = raw.raw_image_visible
        assert np.array_equal(seen[..., :3] if kind == "planes" else seen, shot.samples)


@pytest.mark.parametrize("name", [*BAYER, "6x6"])
def test_libraw_sees_the_mosaic_that_was_written(name, tmp_path):
    write_dng(tmp_path / "a.dng", random_shot(name))
    pattern, colours = KINDS[name]
    repeat = np.array(pattern)
    with rawpy.imread(str(tmp_path / "a.dng")) as raw:
        letters = np.array(list(raw.color_desc.decode()))[raw.raw_colors_visible]
    wanted = np.array([c[0].upper() for c in colours])[repeat]
    assert np.array_equal(letters[: repeat.shape[0], : repeat.shape[1]], wanted)


def test_libraw_reads_levels_and_exposure(tmp_path):
    shot = random_shot("GRBG", black=[512, 500, 510, 505])
    write_dng(tmp_path / "a.dng", shot)
    with rawpy.imread(str(tmp_path / "a.dng")) as raw:
        assert raw.black_level_per_channel == [512, 500, 510, 505]
        assert raw.white_level == 15871
        assert raw.sizes.flip == 6
        assert raw.other.shutter_speed == pytest.approx(1 / 60)
        assert raw.other.aperture == pytest.approx(5.6)
        assert raw.other.focal_length == pytest.approx(24)
        assert raw.other.timestamp.isoformat() == "2024-05-06T21:10:11"


def test_tags_are_those_of_the_specification(tmp_path):
    shot = random_shot("6x6", black=[512, 510.25, 511])
    write_dng(tmp_path / "a.dng", shot)
    with tifffile.TiffFile(tmp_path / "a.dng") as tiff:
        tags = {tag.code: tag.value for tag in tiff.pages[0].tags}
    assert tags[262] == CFA
    assert tags[33421] == (6, 6)
    assert tags[33422] == bytes(np.ravel(SIX).tolist())
    assert tags[50713] == (6, 6)
    numerators, denominators = np.reshape(tags[50714], (36, 2)).T
    assert np.array_equal((numerators / denominators).reshape(6, 6), shot.black[np.array(SIX)])
    assert tags[50717] == 15871
    assert tags[34855] == 400
    assert tags[50708] == "Nightjar One"


def test_the_dng_sdk_opens_every_kind(kind, tmp_path):
    shot = random_shot(kind)
    write_dng(tmp_path / "a.dng", shot)
    opened = dngpy.Dng(str(tmp_path / "a.dng"))
    assert np.array_equal(np.squeeze(opened.raw_pixels), shot.samples)
    assert opened.get_bayer_pattern() == (kind if kind in BAYER else "")


def test_libraw_develops_grey_light_to_grey(tmp_path):
    shot = shot_of(np.full((60, 84), 8000, dtype=np.uint16), BAYER["RGGB"], RGBG)
    write_dng(tmp_path / "a.dng", shot)
    with rawpy.imread(str(tmp_path / "a.dng")) as raw:
        picture = raw.postprocess(use_camera_wb=True, no_auto_bright=True, user_flip=0)
    assert np.ptp(picture[20:40, 20:40].astype(int)) <= 1


def test_a_camera_without_a_name_is_the_simulator(tmp_path):
    write_dng(tmp_path / "a.dng", random_shot("grey", exposure=Exposure()))
    with tifffile.TiffFile(tmp_path / "a.dng") as tiff:
        tags = tiff.pages[0].tags
        assert tags["Model"].value == "Bench Simulator"
        assert tags["PhotometricInterpretation"].value == LINEAR_RAW
        assert not {33434, 33437, 34855, 306} & set(tags.keys())


def test_floating_point_is_brought_to_16_bits(tmp_path):
    light = np.linspace(-0.01, 1, 84 * 60, dtype=np.float32).reshape(60, 84)
    write_dng(tmp_path / "a.dng", shot_of(light, BAYER["RGGB"], RGBG, black=0, white=1.0))
    stored = tifffile.imread(tmp_path / "a.dng").astype(float)
    assert np.allclose((stored - 1024) / (65535 - 1024), light, atol=0.51 / 64511)


def test_strange_colours_are_refused_and_nothing_is_written(tmp_path):
    with pytest.raises(BenchError, match="cyan"):
        write_dng(tmp_path / "a.dng", replace(random_shot("RGGB"), colours=("cyan", "green", "blue", "green")))
    assert not list(tmp_path.iterdir())
